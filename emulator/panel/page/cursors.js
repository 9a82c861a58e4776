// Two cursors in time, and what can be read off between them.
import {levelAt, valueAt} from "./frames.js";

/// {dt_s, rate_Hz}; rate 0 where they stand at one time.
export function between(cursors) {
  const dt_s = cursors.B - cursors.A;
  return {dt_s, rate_Hz: dt_s === 0 ? 0 : 1 / Math.abs(dt_s)};
}

/// A row a signal, {name, a, b, difference} in the unit shown, then a row a line with levels.
export function readings(frame, cursors, signals, lines, shownAs) {
  const rows = signals.map((signal, k) => {
    const shown = shownAs(signal);
    const a = shown.of(valueAt(frame, k, cursors.A)), b = shown.of(valueAt(frame, k, cursors.B));
    return {name: signal.name, unit: shown.unit, a, b, difference: b - a};
  });
  const levels = lines.map((name, k) => ({name, a: levelAt(frame, k, cursors.A), b: levelAt(frame, k, cursors.B)}));
  return {rows, levels};
}

/// Cursors kept inside a window, at its thirds if they were outside.
export function broughtIn(cursors, window) {
  const inside = (t) => t >= window.from && t <= window.to;
  const span = window.to - window.from;
  return {
    A: inside(cursors?.A) ? cursors.A : window.from + span / 3,
    B: inside(cursors?.B) ? cursors.B : window.from + (2 * span) / 3,
  };
}
