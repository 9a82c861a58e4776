// How quantities are shown: SI inside, the trade's units on the page.

const SHOWN = {
  "rad/s": {unit: "rpm", factor: 30 / Math.PI, offset: 0},
  "K": {unit: "°C", factor: 1, offset: -273.15},
  "m/s": {unit: "km/h", factor: 3.6, offset: 0},
  "rad": {unit: "deg", factor: 180 / Math.PI, offset: 0},
  "A2": {unit: "A²", factor: 1, offset: 0},
  "N m": {unit: "N m", factor: 1, offset: 0},
};

/// {unit, of(SI value) -> shown, back(shown) -> SI} of a signal of the welcome.
export function shownAs(signal) {
  let row = SHOWN[signal.unit];
  if (!row && signal.unit === "1" && /state_of_charge/.test(signal.name)) row = {unit: "%", factor: 100, offset: 0};
  row ??= {unit: signal.unit === "1" ? "" : signal.unit, factor: 1, offset: 0};
  return {unit: row.unit, of: (x) => x * row.factor + row.offset, back: (x) => (x - row.offset) / row.factor};
}

/// How a set point of an action is typed: {unit as a scenario writes it, of(SI) -> typed, back(typed) -> SI}.
export function typedAs(unit) {
  const row = {"1": ["%", 100, 0], "rad/s": ["rpm", 30 / Math.PI, 0], "K": ["degC", 1, -273.15], "rad": ["deg", 180 / Math.PI, 0]}[unit]
    ?? [unit, 1, 0];
  return {unit: row[0], of: (x) => Number((x * row[1] + row[2]).toPrecision(10)), back: (x) => (x - row[2]) / row[1]};
}

/// A number with so many significant digits, a real minus sign, no exponent for what a bench has.
export function digits(value, significant = 4) {
  if (value === null || value === undefined || Number.isNaN(value)) return "–";
  if (!Number.isFinite(value)) return value > 0 ? "∞" : "−∞";
  const size = Math.abs(value);
  if (size !== 0 && (size >= 1e7 || size < 1e-6)) return value.toExponential(significant - 1).replaceAll("-", "−");
  const decimals = significant - 1 - (size === 0 ? 0 : Math.floor(Math.log10(size)));
  const text = value.toFixed(Math.min(12, Math.max(0, decimals)));
  return Number(text) === 0 ? text.replace("-", "") : text.replaceAll("-", "−");
}

const PREFIXES = [[1e9, "G"], [1e6, "M"], [1e3, "k"], [1, ""], [1e-3, "m"], [1e-6, "µ"], [1e-9, "n"]];

/// "2.5 ms", "16 kHz"; at most so many significant digits, trailing zeros left out.
export function withPrefix(value, unit, significant = 4) {
  if (value === 0) return `0 ${unit}`;
  if (value === null || !Number.isFinite(value)) return "–";
  const size = Math.abs(value);
  let [factor, prefix] = PREFIXES.find(([f]) => size >= f * 0.9999999) ?? PREFIXES.at(-1);
  const text = Number((value / factor).toPrecision(significant)).toString().replaceAll("-", "−");
  return `${text} ${prefix}${unit}`;
}

/// Model time, seconds: 12.345 s; 1:02:03.4 from an hour on.
export function modelTime(t_s, decimals = 3) {
  if (!Number.isFinite(t_s)) return "–";
  if (t_s < 3600) return `${t_s.toFixed(decimals)} s`;
  const h = Math.floor(t_s / 3600), m = Math.floor((t_s % 3600) / 60), s = t_s % 60;
  return `${h}:${String(m).padStart(2, "0")}:${s.toFixed(1).padStart(4, "0")} h`;
}

/// The number in a text as a scenario writes it ("2.6 V", "45 %"); NaN where there is none.
export function leadingNumber(text) {
  const match = /^\s*([-+]?\d*\.?\d+(?:[eE][-+]?\d+)?)/.exec(String(text ?? ""));
  return match ? Number(match[1]) : NaN;
}

/// What follows the number.
export const trailingUnit = (text) => String(text ?? "").replace(/^\s*[-+]?\d*\.?\d+(?:[eE][-+]?\d+)?\s*/, "").trim();
