// Numbers for people: SI prefixes, digits that follow the uncertainty, decimals by locale. Nothing physical is worked out here.
import { LOCALE } from './locale';

/** A value with its standard uncertainty, as every contract of the program writes it. */
export interface Uncertain {
  value: number;
  standard_uncertainty: number | null;
}

/** Half-width of a 95 % interval in standard uncertainties, where an answer does not state its own factor. */
export const COVERAGE_95 = 1.96;

const NARROW = '\u202f';
const MINUS = '\u2212';
const PREFIXES: readonly [number, string][] = [
  [1e12, 'T'],
  [1e9, 'G'],
  [1e6, 'M'],
  [1e3, 'k'],
  [1, ''],
  [1e-3, 'm'],
  [1e-6, 'µ'],
  [1e-9, 'n'],
  [1e-12, 'p'],
  [1e-15, 'f'],
];

const cache = new Map<string, Intl.NumberFormat>();

function fixed(value: number, decimals: number, sign: 'auto' | 'always' = 'auto'): string {
  const places = Math.max(0, Math.min(12, decimals));
  const key = `${places}${sign}`;
  let format = cache.get(key);
  if (!format) {
    format = new Intl.NumberFormat(LOCALE, {
      minimumFractionDigits: places,
      maximumFractionDigits: places,
      signDisplay: sign === 'always' ? 'exceptZero' : 'negative',
    });
    cache.set(key, format);
  }
  return format.format(value).replace('-', MINUS);
}

/** Decimals that show `digits` significant digits of `size`. */
function decimalsFor(size: number, digits: number): number {
  if (!(size > 0) || !Number.isFinite(size)) return digits;
  return digits - 1 - Math.floor(Math.log10(size * (1 + 1e-12)));
}

/** Trimmers are spoken of in picofarads, also below one. */
const LEAST: Record<string, number> = { F: 1e-12 };

function prefixFor(size: number, unit = ''): readonly [number, string] {
  if (!(size > 0) || !Number.isFinite(size)) return unit === 'F' ? [1e-12, 'p'] : [1, ''];
  const least = LEAST[unit] ?? 0;
  let last = PREFIXES[0]!;
  for (const entry of PREFIXES) {
    if (entry[0] < least) break;
    if (size >= entry[0] * 0.9995) return entry;
    last = entry;
  }
  return last;
}

/** A plain number with so many significant digits. */
export function number(value: number, digits = 3): string {
  if (value === 0) return fixed(0, 0);
  return fixed(value, decimalsFor(Math.abs(value), digits));
}

export function integer(value: number): string {
  return fixed(value, 0);
}

/** A value with its unit and SI prefix: "4.60 pF". */
export function si(value: number | null | undefined, unit: string, digits = 3): string {
  if (value === null || value === undefined || !Number.isFinite(value)) return '–';
  const [scale, prefix] = prefixFor(Math.abs(value), unit);
  const scaled = value / scale;
  return `${fixed(scaled, scaled === 0 ? 0 : Math.max(0, decimalsFor(Math.abs(scaled), digits)))}${NARROW}${prefix}${unit}`;
}

/** As `si`, but without digits that are nil: for values that somebody typed ("15 pF", "1 MHz"). */
export function siShort(value: number | null | undefined, unit: string): string {
  if (value === null || value === undefined || !Number.isFinite(value)) return '–';
  const [scale, prefix] = prefixFor(Math.abs(value), unit);
  const scaled = Number((value / scale).toPrecision(6));
  return `${new Intl.NumberFormat(LOCALE, { maximumSignificantDigits: 5 }).format(scaled).replace('-', MINUS)}${NARROW}${prefix}${unit}`;
}

function withUncertainty(value: number, half: number, sign: 'auto' | 'always'): [string, string] {
  const decimals = decimalsFor(half, 2);
  return [fixed(value, decimals, sign), fixed(half, decimals)];
}

/** "1.821 pF ± 0.023 pF": two digits of the 95 % half-width, and the value to the same place. */
export function siWith(q: Uncertain | null | undefined, unit: string, factor = COVERAGE_95): string {
  if (!q || !Number.isFinite(q.value)) return '–';
  const u = q.standard_uncertainty;
  if (u === null || !(u > 0)) return si(q.value, unit);
  const [scale, prefix] = prefixFor(Math.max(Math.abs(q.value), u * factor), unit);
  const [value, half] = withUncertainty(q.value / scale, (u * factor) / scale, 'auto');
  return `${value} ± ${half}${NARROW}${prefix}${unit}`;
}

/** What a trimmer has to do or has done, with its sign, short enough to be read from afar: "+1.82 pF". */
export function picofarads(value_f: number): string {
  const size = Math.abs(value_f * 1e12);
  return `${fixed(value_f * 1e12, size >= 100 ? 0 : size >= 10 ? 1 : 2, 'always')}${NARROW}pF`;
}

/** A share in per cent with its sign: "−7.31 %". */
export function percent(value: number | null | undefined, digits = 3): string {
  if (value === null || value === undefined || !Number.isFinite(value)) return '–';
  return `${fixed(value * 100, value === 0 ? 0 : Math.min(4, Math.max(0, decimalsFor(Math.abs(value * 100), digits))), 'always')}${NARROW}%`;
}

/** A share without a sign, such as a tolerance: "1 %". */
export function share(value: number | null | undefined): string {
  if (value === null || value === undefined || !Number.isFinite(value)) return '–';
  if (value !== 0 && Math.abs(value) < 5e-5) return `< ${number(0.005, 1)}${NARROW}%`;
  return `${new Intl.NumberFormat(LOCALE, { maximumSignificantDigits: 3 }).format(value * 100)}${NARROW}%`;
}

/** Both parts of an error in per cent, so that the first can stand in large letters: ["−12.01", "0.03"]. */
export function percentParts(q: Uncertain, factor = COVERAGE_95): [string, string | null] {
  const u = q.standard_uncertainty;
  if (u === null || !(u > 0)) return [fixed(q.value * 100, 2, 'always'), null];
  const half = u * factor * 100;
  const decimals = Math.max(0, Math.min(2, decimalsFor(half, half < 0.1 ? 1 : 2)));
  return [fixed(q.value * 100, decimals, 'always'), fixed(half, decimals)];
}

export function percentWith(q: Uncertain | null | undefined, factor = COVERAGE_95): string {
  if (!q) return '–';
  const [value, half] = percentParts(q, factor);
  return half === null ? `${value}${NARROW}%` : `${value} ± ${half}${NARROW}%`;
}

/** A point in time as the reader's locale writes it; the text itself where it is no time. */
export function when(rfc3339: string | null | undefined): string {
  if (!rfc3339) return '–';
  const date = new Date(rfc3339);
  if (Number.isNaN(date.getTime())) return rfc3339;
  return new Intl.DateTimeFormat(LOCALE, { dateStyle: 'medium', timeStyle: 'short' }).format(date);
}

export function day(rfc3339: string | null | undefined): string {
  if (!rfc3339) return '–';
  const date = new Date(rfc3339);
  if (Number.isNaN(date.getTime())) return rfc3339;
  return new Intl.DateTimeFormat(LOCALE, { dateStyle: 'medium' }).format(date);
}

/** Ticks of an axis: as short as they can be while the step still shows. */
export function tick(value: number, unit: string, step: number): string {
  if (value === 0) return `0${unit ? NARROW + unit : ''}`;
  const [scale, prefix] = unit === '%' || unit === '' ? ([1, ''] as const) : prefixFor(Math.abs(value), unit);
  let decimals = 0;
  for (let size = step / scale; decimals < 6 && size > 0 && Math.abs(size - Math.round(size)) > 1e-3 * size; decimals += 1) size *= 10;
  return `${fixed(value / scale, decimals)}${unit ? NARROW : ''}${prefix}${unit}`;
}

/** The same for one value by itself, with three significant digits. */
export function cell(value: number, unit: string): string {
  return unit === '' ? number(value, 4) : si(value, unit, 4);
}
