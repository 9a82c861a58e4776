// The scope's time axis: spans of ten divisions in 1-2-5 steps, zoom about a point, ticks.
export const DIVISIONS = 10;
export const SPANS_s = [];
for (let decade = -4; decade <= 4; ++decade) {
  for (const digit of [1, 2, 5]) SPANS_s.push(Number(`${digit}e${decade}`));
}

/// The next span of the row, smaller (direction -1) or larger (+1).
export function nextSpan(span_s, direction) {
  const near = 1e-9;
  if (direction > 0) return SPANS_s.find((s) => s > span_s * (1 + near)) ?? SPANS_s.at(-1);
  return SPANS_s.findLast((s) => s < span_s * (1 - near)) ?? SPANS_s[0];
}

/// The smallest span of the row that holds so much.
export const spanFor = (length_s) => SPANS_s.find((s) => s >= length_s * (1 - 1e-9)) ?? SPANS_s.at(-1);

/// The end of a window of the new span in which `at_s` stands where it stood.
export function endAfterZoom({from_s, span_s}, at_s, newSpan_s) {
  const share = (at_s - from_s) / span_s;
  return at_s + (1 - share) * newSpan_s;
}

/// Times of the divisions inside a window {from, to}: whole ones from `zero` on.
export function divisions({from, to, zero}) {
  const each = (to - from) / DIVISIONS, out = [];
  for (let k = Math.ceil((from - zero) / each - 1e-6); k <= (to - zero) / each + 1e-6; ++k) out.push(zero + k * each);
  return out;
}

/// A step of 1, 2 or 5 times a power of ten that gives at most so many intervals.
export function tickStep(range, most) {
  if (!(range > 0)) return 1;
  const raw = range / most;
  const power = 10 ** Math.floor(Math.log10(raw));
  const step = [1, 2, 5, 10].find((digit) => digit * power >= raw * (1 - 1e-9));
  return step * power;
}

/// Ticks inside [low, high], at multiples of the step.
export function ticks(low, high, most) {
  const step = tickStep(high - low, most);
  const out = [];
  for (let k = Math.ceil(low / step - 1e-9); k * step <= high + step * 1e-9; ++k) out.push(Number((k * step).toPrecision(12)));
  return out;
}

/// Range of a strip that holds [low, high] with air. Keeps the earlier one while it fits and is not
/// much too large, so that a moving curve does not make the axis jump.
export function steadyRange(before, low, high) {
  if (!(low <= high)) return before ?? [-1, 1];
  const size = Math.max(high - low, Math.abs(high) * 1e-3, 1e-3);
  if (before && before[0] <= low && before[1] >= high && size > 0.5 * (before[1] - before[0])) return before;
  const middle = (low + high) / 2, half = size * 0.6;
  const step = tickStep(2 * half, 5);
  return [Math.floor((middle - half) / step) * step, Math.ceil((middle + half) / step) * step];
}

/// Decimals that tell apart values one step away from one another.
export const decimalsFor = (step) => Math.min(12, Math.max(0, -Math.floor(Math.log10(step) + 1e-9)));
