// The library, compiled to wasm: numbers go in and out through its memory.

/** Sorts of numbers, in the order of `src/face.rs`, and how many a row has. */
export const SORTS = {
  samples: [0, 21], rings: [1, 4], score: [2, 0], review: [3, 0], quarters: [4, 7], episodes: [5, 5], sticks: [6, 4],
  kinds: [7, 4],
};

export class Core {
  constructor(exports) {
    this.wasm = exports;
    this.text = new TextDecoder();
    /** How many mg/dL one mmol/L is. */
    this.perMmol = exports.mg_dl_per_mmol_l();
  }

  static async of(bytes) {
    const { instance } = await WebAssembly.instantiate(bytes, {});
    return new Core(instance.exports);
  }

  put(numbers) {
    const at = this.wasm.room(numbers.length);
    new Float64Array(this.wasm.memory.buffer, at, numbers.length).set(numbers);
  }

  /** Takes what `readTable` has read. */
  take(table) {
    const clock = table.ofMeter ? [] : table.clock.flat();
    this.put([...clock, ...table.values]);
    const taken = table.ofMeter
      ? this.wasm.fingersticks(+table.mmol)
      : this.wasm.trace(clock.length, +table.mmol, table.interval);
    if (!taken) throw new Error('The library does not take these values.');
  }

  /** Sets a kind of alarm; false when the library refuses it. */
  set(kind, on, limit) {
    return this.wasm.set(kind, +on, limit) === 1;
  }

  play() {
    if (!this.wasm.play()) throw new Error('The library does not replay this.');
  }

  /** The numbers of a sort: an array of rows, or one row. */
  rows(name) {
    const [sort, width] = SORTS[name];
    const length = this.wasm.numbers(sort);
    const all = Array.from(new Float64Array(this.wasm.memory.buffer, this.wasm.numbers_at(), length));
    if (!width) return all;
    return Array.from({ length: length / width }, (_, n) => all.slice(n * width, (n + 1) * width));
  }

  /** Words about row `n` of a sort. */
  words(name, n) {
    const length = this.wasm.words(SORTS[name][0], n);
    const said = this.text.decode(new Uint8Array(this.wasm.memory.buffer, this.wasm.words_at(), length));
    return said ? said.split('\t') : [];
  }

  /** What was known after each reading. */
  samples() {
    return this.rows('samples').map(
      ([wall, at, sensor, status, shown, bound, plasma, sd, rate, rateSd, p15, s15, p30, s30, p60, s60, low, toLow,
        signal, direction, rang]) => ({
        wall, at, sensor, status, shown, bound, plasma, sd, rate, rateSd, low, toLow, signal, direction, rang,
        ahead: [[15, p15, s15], [30, p30, s30], [60, p60, s60]],
      }),
    );
  }

  rings() {
    return this.rows('rings').map(([wall, kind, cause, glucose]) => ({ wall, kind, cause, glucose }));
  }

  score() {
    const [days, nights, woken, rings, nightRings, alarms, lows, warned, warned10, warning, ...kinds] = this.rows('score');
    const of = (n) => ({ alarms: kinds[3 * n], rings: kinds[3 * n + 1], right: kinds[3 * n + 2] });
    return {
      days, nights, woken, rings, nightRings, alarms, lows, warned, warned10, warning,
      kinds: Array.from({ length: kinds.length / 3 }, (_, n) => of(n)),
    };
  }

  review() {
    const [readings, days, suffices, active, mean, sd, cv, gmi, mage, modd, lbgi, hbgi, gri, ...rest] = this.rows('review');
    const [shares, episodes] = [rest.slice(0, 7), rest.slice(7)];
    return { readings, days, suffices, active, mean, sd, cv, gmi, mage, modd, lbgi, hbgi, gri, shares, episodes };
  }

  /** The alarms as they are set. */
  kinds() {
    return this.rows('kinds').map(([on, limit, least, most], n) => {
      const [name, message, unit = ''] = this.words('kinds', n);
      return { n, name, message, unit, on: on === 1, limit, least, most };
    });
  }
}
