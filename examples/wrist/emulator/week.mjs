// Days of frames on a bad line, each at its minute: no reset, every reading that came through is in the flash chip, and the
// last twelve hours look as the desk draws them. `WRIST_DAYS=7` sends the whole week.
import assert from "node:assert/strict";
import { execFileSync } from "node:child_process";
import { mkdtempSync, readFileSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import test from "node:test";
import { PNG } from "pngjs";
import { Pico, flashFromUf2, records } from "./pico.mjs";
import { pixels } from "./picture.mjs";

const target = process.env.WRIST_UF2 ?? new URL("../target", import.meta.url).pathname;
const days = process.env.WRIST_DAYS ?? "1";
const folder = mkdtempSync(`${tmpdir()}/wrist-week-`);
const desk = (...words) => execFileSync(`${target}/debug/wrist-desk`, words, { encoding: "utf8" });
const lines = (text) => text.split("\n").filter(Boolean);

test(`${days} days on a bad line`, () => {
  desk("week", `${folder}/week`, days);
  const week = [...records(readFileSync(`${folder}/week`))];
  const wanted = PNG.sync.read(readFileSync(`${folder}/week.png`));
  const sent = new Set(lines(readFileSync(`${folder}/week.readings`, "utf8")));

  const pico = new Pico(flashFromUf2(readFileSync(`${target}/wrist-pico.uf2`)));
  const operations = { erase: 0, program: 0 };
  pico.onFlash = (kind) => operations[kind]++;
  pico.run(1000);
  const kept = new Set();
  const collect = () => {
    for (let before = -1; before !== operations.program; pico.run(400)) before = operations.program;
    writeFileSync(`${folder}/flash`, pico.cutPower());
    lines(desk("kept", `${folder}/flash`)).forEach((reading) => kept.add(reading));
  };
  let collected = 0;
  for (const [minute, bytes] of week) {
    // the chip holds a day's readings, and none comes more than an hour late
    if (minute >= collected + 20 * 60) {
      collect();
      collected = minute;
    }
    pico.run(Math.max(0, minute * 60_000 - pico.ms));
    pico.send(bytes);
  }
  collect();
  assert.deepEqual([...kept].sort(), [...sent].sort());

  const differences = () => pixels(pico).reduce((sum, grey, i) => sum + (grey !== wanted.data[4 * i]), 0);
  // whatever rings is seen first
  for (let i = 0; i < 3 && differences() > 0; i++) {
    pico.press(100);
    pico.run(600);
  }
  assert.equal(differences(), 0);
  console.log(
    `${days} days: ${week.length} frames and stretches of noise in ${Math.round(pico.ms / 1000)} s, ${sent.size} readings ` +
      `kept; flash: ${operations.erase} sectors erased, ${operations.program} pages written`,
  );
});
