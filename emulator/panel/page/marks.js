// A mark of the record in words.
import {modelTime} from "./units.js";

/// "hall_line_open U", "throttle 2 V", "not trusted: lost until 12.5 s". A detail that names the mark stands alone.
/// "not shown" is a gap of the panel's own: the record has what is missing in the picture.
export function markWords({kind, name, detail, to_s}) {
  const words = detail?.startsWith(name) ? detail : [name, detail].filter(Boolean).join(kind === "event" ? ": " : " ");
  if (kind !== "gap") return words;
  return `${name === "not shown" ? `${name}: ${detail}` : `not trusted: ${words}`}, until ${modelTime(to_s)}`;
}
