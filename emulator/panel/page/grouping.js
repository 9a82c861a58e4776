// Which curves share a strip, and how they are told apart in it.
import {colourNumber, curveDash} from "./palette.js";
import {shownAs} from "./units.js";

/// Which signals share a strip: by "unit", by "quantity" (what stands before the dot), or "each".
export function grouped(signals, how) {
  const groups = new Map();
  for (const signal of signals) {
    const key = how === "each" ? signal.name
      : how === "quantity" ? signal.name.replace(/\.[^.]*$/, "")
      : shownAs(signal).unit;
    if (!groups.has(key)) groups.set(key, []);
    groups.get(key).push(signal);
  }
  return [...groups.values()];
}

/// "phase_current.U", "phase_current.V" -> "phase current"; others by name.
export function stripTitle(signals) {
  const stems = new Set(signals.map((s) => s.name.replace(/\.[UVW]$/, "")));
  return [...stems].slice(0, 3).join(", ").replaceAll("_", " ") + (stems.size > 3 ? " …" : "");
}

/// {number, dash} of each signal: no two of a strip alike.
export function looks(signals) {
  const used = new Map();
  return signals.map((signal, place) => {
    const number = colourNumber(signal.name, place);
    const round = used.get(number) ?? 0;
    used.set(number, round + 1);
    return {number, dash: curveDash(round)};
  });
}
