// What the emulated Pico's work is measured at.
import { readFileSync } from "node:fs";
import { Pico, flashFromUf2, records } from "./pico.mjs";

const here = (path) => new URL(path, import.meta.url);
const images = process.env.WRIST_UF2 ?? new URL("../target", import.meta.url).pathname;
export const uf2 = (name) => flashFromUf2(readFileSync(`${images}/${name}.uf2`));
export const day = [...records(readFileSync(here("../golden/day.frames")))];
export const story = readFileSync(here("../golden/day.story"), "utf8").split("\n");
/** When the day's alarm rings. */
export const minute = Number(story[0]);

/** A wearer's day from the minute `begin` on, when the board is switched on: each frame at its minute. */
export class Day {
  constructor(flash, { begin = 0, ...options } = {}) {
    this.pico = new Pico(flash, options);
    this.pico.run(1000);
    this.begin = begin;
    this.next = day.findIndex(([due]) => due >= begin);
  }

  feed(minute) {
    for (; this.next < day.length && day[this.next][0] <= minute; this.next++) this.pico.send(day[this.next][1]);
  }

  live(to) {
    const { pico } = this;
    for (let minute = this.begin + Math.floor(pico.ms / 60_000); ; minute++) {
      pico.run(Math.max(0, (minute - this.begin) * 60_000 - pico.ms));
      this.feed(minute);
      if (minute >= to) break;
    }
  }

  press(ms) {
    this.pico.press(ms);
    this.pico.run(600);
  }
}

/** What a reading takes: cycles on average and at most, and stack. */
export function work(name) {
  const pico = new Pico(uf2(name));
  pico.run(240_000);
  if (!pico.stopped) throw new Error(`${name} has not come to its end`);
  const { busyCycles, busyStack: stack } = pico;
  const mean = Math.round(busyCycles.reduce((a, b) => a + b) / busyCycles.length);
  return { mean, worst: Math.max(...busyCycles), stack, readings: busyCycles.length };
}

/** Lives to twenty minutes before the alarm: how much of the quiet time before that the board is awake, its pixels are lit, and
 * sectors are erased an hour. */
export function quiet(story) {
  const { pico } = story;
  story.live(minute - 75);
  const begin = { cycles: pico.mcu.core.cycles, ms: pico.ms };
  let erases = 0;
  const before = pico.onFlash;
  pico.onFlash = (kind, ...rest) => {
    erases += kind === "erase";
    before(kind, ...rest);
  };
  story.live(minute - 21);
  pico.onFlash = before;
  const ms = pico.ms - begin.ms;
  const lit = pico.display.memory.reduce((sum, byte) => sum + byte.toString(2).replaceAll("0", "").length, 0);
  return {
    awake: (pico.mcu.core.cycles - begin.cycles) / (ms * (pico.mcu.clkSys / 1000)),
    lit: lit / (128 * 64),
    erases: erases / (ms / 3_600_000),
  };
}

/** Lives on to the alarm: how long the motor turns for it, ms. */
export function alarm(story) {
  const before = story.pico.turns.length;
  story.live(minute);
  story.pico.run(3000); // until it has rung
  return story.pico.turns.slice(before).reduce((a, b) => a + b, 0);
}
