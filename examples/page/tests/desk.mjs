// The desk tool, to compare with: what it says of a trace.
import { execFileSync } from 'node:child_process';
import { mkdirSync, readFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';

const here = dirname(fileURLToPath(import.meta.url));
export const page = dirname(here);
const target = process.env.CARGO_TARGET_DIR ?? join(page, 'target');
export const built = join(target, 'page.html');
export const wasm = join(target, 'wasm32-unknown-unknown/release/glidepath_page.wasm');
const tool = process.env.PAGE_DESK ?? join(page, '../../target/release/glidepath');
const folder = join(target, 'page-tests');
mkdirSync(folder, { recursive: true });

export const file = (name) => join(folder, name);

export function glidepath(...args) {
  return execFileSync(tool, args, { encoding: 'utf8', maxBuffer: 1 << 28 });
}

/** The demo's tables, as the desk tool writes them. */
export function demo() {
  const out = join(target, 'demo');
  return { trace: join(out, 'trace.csv'), sticks: join(out, 'fingersticks.csv') };
}

/** An invented person. */
export function invented(seed, days, ...more) {
  const trace = file(`person-${seed}.csv`);
  const sticks = file(`person-${seed}-sticks.csv`);
  glidepath('simulate', '--seed', `${seed}`, '--days', `${days}`, '--out-trace', trace, '--out-fingersticks', sticks, ...more);
  return { trace, sticks };
}

/** The desk's replay of a trace: its report and its table of samples, parted into cells. */
export function replay({ trace, sticks }, ...more) {
  const samples = file('samples.csv');
  const beside = sticks ? ['--fingersticks', sticks] : [];
  const report = JSON.parse(glidepath('replay', trace, ...beside, '--json', '--samples', samples, ...more));
  const [header, ...rows] = readFileSync(samples, 'utf8').trim().split('\n').map((line) => line.split(','));
  return { report, samples: rows.map((row) => Object.fromEntries(row.map((cell, n) => [header[n], cell]))) };
}

export const review = ({ trace }) => JSON.parse(glidepath('review', trace, '--json'));

/** A number as the desk writes it: rounded to so many digits from its exact value, a half to the even digit. */
export function cell(value, digits) {
  if (!Number.isFinite(value)) return '';
  // exact: a 32-bit float has at most 149 digits after the point, a 64-bit one scaled by 2^k is whole
  let [scaled, power] = [Math.abs(value), 0n];
  while (!Number.isInteger(scaled)) [scaled, power] = [scaled * 2, power + 1n];
  const by = BigInt(scaled) * 10n ** BigInt(digits);
  let whole = by >> power;
  const rest = by - (whole << power);
  const half = power > 0n ? 1n << (power - 1n) : 1n;
  if (rest > half || (rest === half && power > 0n && whole % 2n === 1n)) whole += 1n;
  const text = whole.toString().padStart(digits + 1, '0');
  const sign = value < 0 ? '-' : '';
  return digits ? `${sign}${text.slice(0, -digits)}.${text.slice(-digits)}` : sign + text;
}

/** As the desk rounds for its JSON. */
export function rounded(value, digits) {
  return Number.isFinite(value) ? Math.round(value * 10 ** digits) / 10 ** digits : null;
}
