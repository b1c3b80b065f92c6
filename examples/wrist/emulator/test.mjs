// The Pico's image, unchanged, through the story of desk/tests/day.rs: the same pictures.
import assert from "node:assert/strict";
import { readFileSync, writeFileSync } from "node:fs";
import test from "node:test";
import { PNG } from "pngjs";
import { Pico, flashFromUf2, records } from "./pico.mjs";

const here = (path) => new URL(path, import.meta.url);
const images = process.env.WRIST_UF2 ?? new URL("../target", import.meta.url).pathname;
const uf2 = (name) => flashFromUf2(readFileSync(`${images}/${name}.uf2`));
const day = [...records(readFileSync(here("../golden/day.frames")))];

/** The display's pixels, row by row, 0 or 255. */
function pixels(pico) {
  const out = Buffer.alloc(128 * 64);
  for (let y = 0; y < 64; y++)
    for (let x = 0; x < 128; x++)
      out[y * 128 + x] = (pico.display.memory[(y >> 3) * 128 + x] >> (y & 7)) & 1 ? 255 : 0;
  return out;
}

function check(pico, name) {
  const png = PNG.sync.read(readFileSync(here(`../golden/${name}-bit.png`)));
  const got = pixels(pico);
  let differing = 0;
  for (let i = 0; i < got.length; i++) if (got[i] !== png.data[4 * i]) differing++;
  if (process.env.WRIST_PICTURES) {
    const out = new PNG({ width: 128, height: 64, colorType: 0 });
    got.forEach((grey, i) => out.data.set([grey, grey, grey, 255], 4 * i));
    writeFileSync(`${process.env.WRIST_PICTURES}/pico-${name}.png`, PNG.sync.write(out, { colorType: 0 }));
  }
  assert.equal(differing, 0, `${name}: pixels that differ`);
}

/** A wearer's day: frames at their minute. */
class Day {
  constructor(flash, options) {
    this.pico = new Pico(flash, options);
    this.pico.run(1000);
    this.next = 0;
  }

  feed(minute) {
    for (; this.next < day.length && day[this.next][0] <= minute; this.next++) this.pico.send(day[this.next][1]);
  }

  live(from, to) {
    for (let minute = from; minute <= to; minute++) {
      const before = this.pico.ms;
      this.feed(minute);
      this.pico.run(60_000 - (this.pico.ms - before));
    }
  }

  press(ms) {
    this.pico.press(ms);
    this.pico.run(600);
  }
}

test("an hour of frames, an alarm, and the button", () => {
  const story = new Day(uf2("wrist-pico"));
  const { pico } = story;
  story.feed(800);
  story.live(801, 854);
  story.feed(855);
  pico.run(1000);
  check(pico, "day-855");
  story.live(856, 874);
  const turns = pico.motorTurns;
  story.feed(875);
  pico.run(1000);
  check(pico, "day-875");
  const rung = pico.motorTurns;
  assert.ok(rung > turns, "the alarm vibrates");
  story.press(100);
  check(pico, "day-875-seen");
  pico.run(2200);
  assert.ok(pico.motorTurns <= rung + 1, "seen: silent");
  story.press(100);
  check(pico, "day-875-past");
  pico.press(100);
  pico.run(100);
  story.press(100);
  check(pico, "day-875-past-mmol");
  story.press(100);
  check(pico, "day-875-mmol");
  pico.said = "";
  story.press(1000);
  assert.match(pico.said, /^4\.7 millimoles, falls\.\r\n$/);
  console.log(`stack of the application: ${pico.stackBytes} bytes`);
});

test("cycles and stack of a reading", () => {
  const pico = new Pico(uf2("cycles"));
  pico.run(120_000);
  assert.ok(pico.stopped);
  assert.equal(pico.busyCycles.length, 288);
  const worst = Math.max(...pico.busyCycles);
  const mean = Math.round(pico.busyCycles.reduce((a, b) => a + b) / pico.busyCycles.length);
  console.log(`cycles of a reading on the M0+: mean ${mean}, worst ${worst}; stack: ${pico.busyStack} bytes`);
  assert.ok(worst < 950_000, `${worst}`);
  assert.ok(pico.busyStack < 2048, `${pico.busyStack}`);
});
