// Where the cycles go: `node profile.mjs CYCLES.uf2 CYCLES.elf` lists functions by cycles and calls a reading.
import { readFileSync } from "node:fs";
import { execFileSync } from "node:child_process";
import { Pico, flashFromUf2 } from "./pico.mjs";

const [uf2, elf] = process.argv.slice(2);
const names = execFileSync("nm", ["-C", "-n", elf], { maxBuffer: 1e8, encoding: "utf8" })
  .split("\n")
  .map((line) => line.match(/^([0-9a-f]+) [tTwW] ([^$].*)/))
  .filter(Boolean)
  .map(([, address, name]) => ({ start: parseInt(address, 16) & ~1, name, cycles: 0, calls: 0 }));
const pico = new Pico(flashFromUf2(readFileSync(uf2)));
const { core, sio } = pico.mcu;
while (!pico.stopped) {
  const at = core.PC;
  const cycles = core.executeInstruction();
  pico.clock.tick(cycles * 83);
  if (!(sio.gpioValue & (1 << 16))) continue;
  let [low, high] = [0, names.length - 1];
  while (low < high) {
    const middle = (low + high + 1) >> 1;
    if (names[middle].start <= at) low = middle;
    else high = middle - 1;
  }
  names[low].cycles += cycles;
  if (names[low].start === at) names[low].calls++;
}
const readings = pico.busyCycles.length;
names.sort((a, b) => b.cycles - a.cycles);
for (const { name, cycles, calls } of names.slice(0, 25)) {
  console.log(String(Math.round(cycles / readings)).padStart(8), (calls / readings).toFixed(1).padStart(8), name);
}
