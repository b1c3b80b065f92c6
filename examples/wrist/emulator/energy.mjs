// Energy a day of both boards, as a table: `node energy.mjs` prints it, `--write` renews it in ../README.md, `--check` holds that one
// against this one. Measured: cycles, time awake, pixels lit, erases and vibration of the emulated Pico, and the radio's packets
// (../radio/sensor/duty.json). Currents, with their sources, are in currents.json: put your own in their place.
import { readFileSync, writeFileSync } from "node:fs";
import { pathToFileURL } from "node:url";

const here = (path) => new URL(path, import.meta.url);
const read = (path) => readFileSync(here(path), "utf8");
const [BEGIN, END] = ["<!-- energy.mjs: begin -->", "<!-- energy.mjs: end -->"];
const DAY_S = 86_400;
const READINGS = 288;

/** The number of each pair of number and source. */
const numbers = (given) =>
  Object.fromEntries(Object.entries(given).map(([name, it]) => [name, Array.isArray(it) ? it[0] : numbers(it)]));

/** Paces of the radio, as its source has them, seconds. */
function paces() {
  const source = read("../radio/central/src/lib.rs");
  return Object.fromEntries(
    ["link_interval", "found_interval", "scan_interval", "scan_window"].map((name) => {
      const [, unit, count] = source.match(new RegExp(`${name}: Duration::from_(millis|secs)\\((\\d+)\\)`));
      return [name, Number(count) / (unit === "millis" ? 1000 : 1)];
    }),
  );
}

/** Joules a day by what they go into. */
export function budget({ reading, quiet, turned_ms }, given = JSON.parse(read("currents.json"))) {
  const all = numbers(given);
  const duty = JSON.parse(read("../radio/sensor/duty.json"));
  const pace = paces();
  const joules = (mA, seconds) => (mA / 1000) * all.rail_V * seconds;
  const board = (part) => {
    // awake costs what it takes beyond asleep, which is paid all day
    const more = part.awake_mA - part.asleep_mA;
    const readings_s = (READINGS * reading.mean) / (part.MHz * 1e6);
    const pico_s = DAY_S * quiet.awake;
    const rest_s = Math.max(0, pico_s - (READINGS * reading.mean) / (all.pico.MHz * 1e6)) * (all.pico.MHz / part.MHz);
    return {
      asleep: joules(part.asleep_mA, DAY_S),
      readings: joules(more, readings_s),
      rest: joules(more, rest_s),
      flash: joules(part.erase_mA, (quiet.erases * 24 * part.erase_ms) / 1000),
      motor: joules(all.motor_mA, (all.rings * turned_ms) / 1000),
      display: joules(all.display_dark_mA + (all.display_lit_mA - all.display_dark_mA) * quiet.lit, DAY_S),
    };
  };
  const nrf = all.nrf52840;
  const events = DAY_S / pace.link_interval;
  const link = (count) => joules(nrf.radio_mA, (count * nrf.event_ms) / 1000) + joules(nrf.awake_mA, (count * nrf.event_awake_ms) / 1000);
  const packets = READINGS * duty.reading + all.link_losses * duty.link + all.settings * duty.settings;
  const radio = {
    link: link(events),
    packets: joules(nrf.radio_mA, (packets * nrf.packet_ms) / 1000),
    found: joules(nrf.radio_mA, ((DAY_S / pace.found_interval) * nrf.found_ms) / 1000),
    search: joules(nrf.radio_mA, all.link_losses * nrf.search_s * (pace.scan_window / pace.scan_interval)),
  };
  const boards = { pico: board(all.pico), nrf52840: { ...board(nrf), ...radio } };
  const cell = (all.cell_mAh / 1000) * 3600 * all.cell_V * all.cell_used * all.converter;
  const sum = (it, without) => Object.entries(it).reduce((sum, [name, joules]) => sum + (without.includes(name) ? 0 : joules), 0);
  const looking = joules(nrf.radio_mA, DAY_S * (pace.scan_window / pace.scan_interval));
  return { boards, cell, sum, all, pace, packets, events, looking };
}

/** The table, each row beginning with its name. */
export function table(measured) {
  const { boards, cell, sum, all, pace, packets, events, looking } = budget(measured);
  const { reading, quiet, turned_ms } = measured;
  const joules = (it) => (it === undefined ? "" : it.toFixed(it < 0.1 ? 3 : it < 1 ? 2 : it < 10 ? 1 : 0));
  const row = (what, name) => `| ${what} | ${joules(boards.pico[name])} | ${joules(boards.nrf52840[name])} |`;
  const total = (what, of) => `| ${what} | ${joules(of(boards.pico))} | ${joules(of(boards.nrf52840))} |`;
  const days = (without) => (it) => cell / sum(it, without);
  const dark = ["display"];
  return [
    "| a day | Pico, J | nRF52840, J |",
    "| --- | --- | --- |",
    row(`${READINGS} readings through the library, ${Math.round(reading.mean / 1000)},000 cycles each`, "readings"),
    row(`awake for all else, with the readings ${(100 * quiet.awake).toFixed(2)} % of a quiet hour on the Pico`, "rest"),
    row("asleep", "asleep"),
    row(`flash, ${Math.round(quiet.erases * 24)} sectors erased`, "flash"),
    row(`vibration, ${all.rings} alarms of ${(turned_ms / 1000).toFixed(1)} s of turning`, "motor"),
    row(`the link with the sensor, an event each ${Math.round(pace.link_interval * 1000)} ms: ${Math.round(events / 1000)},000`, "link"),
    row(`${Math.round(packets)} packets: readings, ${all.link_losses} new links, ${all.settings} message of settings`, "packets"),
    row(`to be found by a phone, each ${pace.found_interval} s, if one is paired`, "found"),
    row(`looking for a lost sensor, ${all.link_losses} times ${all.nrf52840.search_s} s`, "search"),
    row(`the display, lit all day, ${(100 * quiet.lit).toFixed(0)} % of its pixels`, "display"),
    total("together", (it) => sum(it, [])),
    total("without the display", (it) => sum(it, dark)),
    total(`days of a cell of ${all.cell_mAh} mAh`, days([])),
    total("days without the display", days(dark)),
    `| not in it: a whole day of looking for a sensor out of reach | | ${joules(looking)} |`,
  ];
}

const cells = (row) => row.split("|").slice(1, -1).map((it) => it.trim());
const number = (cell) => (cell === "" ? undefined : Number(cell));

/** What is not as the README tells: more than a tenth off, or an energy of the library's less than half of what is told. */
export function stale(rows, told) {
  if (rows.length !== told.length) return ["another number of rows"];
  return rows.flatMap((row, place) => {
    const [now, then] = [cells(row), cells(told[place])];
    // numbers stand in words too: those are looked at by the columns
    const same = now[0].replace(/[\d.,]+/g, "#") === then[0].replace(/[\d.,]+/g, "#");
    const near = [1, 2].every((column) => {
      const [a, b] = [number(now[column]), number(then[column])];
      if (a === b || Number.isNaN(a)) return now[column] === then[column];
      // what gets cheaper need not be told at once
      return a !== undefined && b !== undefined && a <= b * 1.1 + 0.02 && a >= (row.includes("days") ? 0.9 : 0.5) * b - 0.02;
    });
    return same && near ? [] : [`${row} is told as ${told[place]}`];
  });
}

/** The table as the README has it. */
export function told() {
  const [, rest] = read("../README.md").split(BEGIN);
  return rest.split(END)[0].trim().split("\n");
}

if (import.meta.url === pathToFileURL(process.argv[1]).href) {
  const { Day, alarm, quiet, uf2, work } = await import("./measured.mjs");
  const story = new Day(uf2("wrist-pico"));
  const measured = { reading: work("cycles"), quiet: quiet(story), turned_ms: alarm(story) };
  const rows = table(measured);
  console.log(rows.join("\n"));
  if (process.argv[2] === "--write") {
    const [before, rest] = read("../README.md").split(BEGIN);
    writeFileSync(here("../README.md"), `${before}${BEGIN}\n${rows.join("\n")}\n${END}${rest.split(END)[1]}`);
  } else if (process.argv[2] === "--check") {
    const off = stale(rows, told());
    off.forEach((line) => console.error(line));
    process.exit(off.length === 0 ? 0 : 1);
  }
}
