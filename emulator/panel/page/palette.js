// Colours of curves, taken from the style sheet, so that dark and light have their own.
import {colour} from "./dom.js";

const PHASE = {U: 1, V: 2, W: 3, UH: 1, UL: 1, VH: 2, VL: 2, WH: 3, WL: 3, A: 4, B: 5, Z: 6};
const COUNT = 7;

/// Number of a curve's colour, 1 to 7: phases keep theirs, everything else goes by its place in the strip.
export function colourNumber(name, place) {
  const phase = PHASE[name.split(".").at(-1)];
  return phase ?? (place % COUNT) + 1;
}
export const curveColour = (number) => colour(`--curve-${number}`);
/// Beyond seven curves in a strip, and where two share a colour, the dash tells them apart.
export const curveDash = (round) => [[], [6, 3], [2, 3], [10, 3, 2, 3]][round % 4];

/// Calls f when dark becomes light or light dark.
export function onThemeChange(f) {
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", f);
}
