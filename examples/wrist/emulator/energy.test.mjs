// The reckoning of energy with numbers that can be worked out by hand; nothing is emulated.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import test from "node:test";
import { budget, stale, table, told } from "./energy.mjs";

const measured = { reading: { mean: 240_000 }, quiet: { awake: 0.01, lit: 0.25, erases: 5 }, turned_ms: 800 };
const given = {
  rail_V: [3, ""],
  cell_mAh: [100, ""],
  cell_V: [4, ""],
  cell_used: [0.5, ""],
  converter: [0.8, ""],
  link_losses: [2, ""],
  settings: [3, ""],
  rings: [6, ""],
  display_lit_mA: [20, ""],
  display_dark_mA: [2, ""],
  motor_mA: [100, ""],
  pico: { MHz: [12, ""], awake_mA: [7, ""], asleep_mA: [2, ""], erase_ms: [50, ""], erase_mA: [20, ""] },
  nrf52840: {
    MHz: [60, ""],
    awake_mA: [4, ""],
    asleep_mA: [0.01, ""],
    erase_ms: [80, ""],
    erase_mA: [4, ""],
    radio_mA: [5, ""],
    event_ms: [0.4, ""],
    event_awake_ms: [0.2, ""],
    packet_ms: [0.3, ""],
    found_ms: [2, ""],
    search_s: [30, ""],
  },
};
const duty = JSON.parse(readFileSync(new URL("../radio/sensor/duty.json", import.meta.url), "utf8"));
const packets = 288 * duty.reading + 2 * duty.link + 3 * duty.settings;

function near(got, expected, what) {
  assert.ok(Math.abs(got - expected) <= 1e-9 * Math.max(1, Math.abs(expected)), `${what}: ${got}, expected ${expected}`);
}

test("each part by hand", () => {
  const { boards, cell, sum, pace, events, looking, packets: counted } = budget(measured, given);
  assert.deepEqual(pace, { link_interval: 0.1, found_interval: 2, scan_interval: 1.28, scan_window: 0.064 });
  const expected = {
    pico: {
      asleep: 0.002 * 3 * 86_400,
      readings: 0.005 * 3 * 5.76, // 288 times 240,000 cycles at 12 MHz
      rest: 0.005 * 3 * (864 - 5.76),
      flash: 0.02 * 3 * 6, // 120 erases of 50 ms
      motor: 0.1 * 3 * 4.8,
      display: 0.0065 * 3 * 86_400, // dark, and a quarter of what lit takes more
    },
    nrf52840: {
      asleep: 0.00001 * 3 * 86_400,
      readings: 0.00399 * 3 * 1.152, // at 60 MHz
      rest: 0.00399 * 3 * 171.648, // what takes the other 858.24 s takes a fifth of that
      flash: 0.004 * 3 * 9.6,
      motor: 0.1 * 3 * 4.8,
      display: 0.0065 * 3 * 86_400,
      link: 0.005 * 3 * 345.6 + 0.004 * 3 * 172.8, // 864,000 events
      packets: 0.005 * 3 * packets * 0.0003,
      found: 0.005 * 3 * 86.4,
      search: 0.005 * 3 * 3, // twice 30 s, a twentieth of it listening
    },
  };
  for (const [board, parts] of Object.entries(expected)) {
    assert.deepEqual(Object.keys(boards[board]).sort(), Object.keys(parts).sort());
    for (const [part, joules] of Object.entries(parts)) near(boards[board][part], joules, `${board}, ${part}`);
  }
  near(events, 864_000, "events");
  near(counted, packets, "packets");
  near(cell, 576, "cell");
  near(looking, 0.005 * 3 * 4320, "a whole day of looking");
  near(sum({ one: 1, two: 2, three: 4 }, ["two"]), 5, "without one");
  // a board that is awake for less than its readings take is not owed the rest
  assert.equal(budget({ ...measured, quiet: { ...measured.quiet, awake: 0 } }, given).boards.pico.rest, 0);
});

test("each row as it is printed, the numbers of the currents as they are kept", () => {
  const rows = table({ ...measured, reading: { mean: 233_501 } });
  const own = JSON.parse(readFileSync(new URL("currents.json", import.meta.url), "utf8"));
  const { boards, cell } = budget({ ...measured, reading: { mean: 233_501 } }, own);
  const all = (board, without = []) =>
    Object.entries(boards[board]).reduce((sum, [name, joules]) => sum + (without.includes(name) ? 0 : joules), 0);
  const cells = rows.map((row) => row.split("|").slice(1, -1).map((cell) => cell.trim()));
  const find = (start) => {
    const found = cells.filter(([name]) => name.startsWith(start));
    assert.equal(found.length, 1, start);
    return found[0];
  };
  const digits = (value) => value.toFixed(value < 0.1 ? 3 : value < 1 ? 2 : value < 10 ? 1 : 0);
  for (const [start, part] of [
    ["288 readings through the library, 234,000 cycles each", "readings"],
    ["awake for all else, with the readings 1.00 %", "rest"],
    ["asleep", "asleep"],
    ["flash, 120 sectors", "flash"],
    [`vibration, ${own.rings[0]} alarms of 0.8 s`, "motor"],
    ["the link with the sensor, an event each 100 ms: 864,000", "link"],
    ["476 packets: readings, 4 new links, 1 message", "packets"],
    ["to be found by a phone, each 2 s", "found"],
    ["looking for a lost sensor, 4 times 60 s", "search"],
    ["the display, lit all day, 25 %", "display"],
  ]) {
    const [, pico, nrf] = find(start);
    assert.equal(pico, boards.pico[part] === undefined ? "" : digits(boards.pico[part]), `${start} on the Pico`);
    assert.equal(nrf, digits(boards.nrf52840[part]), start);
  }
  for (const [start, of] of [
    ["together", (board) => all(board)],
    ["without the display", (board) => all(board, ["display"])],
    ["days of a cell of 500 mAh", (board) => cell / all(board)],
    ["days without the display", (board) => cell / all(board, ["display"])],
  ]) {
    assert.deepEqual(find(start).slice(1), [digits(of("pico")), digits(of("nrf52840"))], start);
  }
  assert.equal(rows.length, 17);
  assert.deepEqual(find("not in it: a whole day of looking").slice(1), ["", digits((own.rail_V[0] * own.nrf52840.radio_mA[0] * 86_400) / 20_000)]);
});

test("a table that is off is noticed", () => {
  const row = (joules, nrf = "1.0", name = "asleep") => `| ${name} | ${joules} | ${nrf} |`;
  const off = (now, then) => stale([now], [then]).length;
  // a tenth more, or half as much
  assert.deepEqual([off(row("109"), row("100")), off(row("111"), row("100"))], [0, 1]);
  assert.deepEqual([off(row("51"), row("100")), off(row("49"), row("100"))], [0, 1]);
  // days may not be fewer by a tenth
  const days = (pico, nrf) => row(pico, nrf, "days of a cell of 500 mAh");
  assert.deepEqual([off(days("91", "1.0"), days("100", "1.0")), off(days("89", "1.0"), days("100", "1.0"))], [0, 1]);
  // the second board as well, an empty cell, other words; numbers in words may differ
  assert.equal(off(row("1.0", "2.0"), row("1.0", "1.0")), 1);
  assert.equal(off(row("1.0", ""), row("1.0", "1.0")), 1);
  assert.equal(off(row("1.0", "1.0"), row("1.0", "")), 1);
  assert.equal(off(row("1.0", "", "a day"), row("1.0", "", "a day")), 0);
  assert.equal(off(row("1.0"), row("1.0", "1.0", "awake")), 1);
  assert.equal(off(row("1.0", "1.0", "flash, 120 sectors"), row("1.0", "1.0", "flash, 96 sectors")), 0);
  assert.equal(off("| a | Pico, J | nRF52840, J |", "| a | Pico, J | nRF52840, kJ |"), 1);
  assert.deepEqual(stale([row("1")], []), ["another number of rows"]);
  assert.match(stale([row("2")], [row("1")])[0], /is told as/);
  assert.equal(told()[0], "| a day | Pico, J | nRF52840, J |");
  assert.equal(told().length, 17);
});
