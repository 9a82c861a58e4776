// The scope's values as a table: the text alternative of the picture, and what the cursors read.
import {el} from "./dom.js";
import {between, readings} from "./cursors.js";
import {extremes, levelAt} from "./frames.js";
import {digits, shownAs, withPrefix} from "./units.js";

const cell = (words, number = true) => el("td", number ? {class: "number"} : {}, words);
const level = (value) => (value === null ? "–" : value ? "high" : "low");
const row = (name, ...cells) => el("tr", {}, el("th", {scope: "row"}, name), ...cells);
const head = (...names) => el("thead", {}, el("tr", {}, ...names.map((n, k) => el("th", {scope: "col", class: k ? "number" : null}, n))));

/// frame may be null. cursors null: newest, least, greatest; else values at A and B, and B - A.
export function drawReadout(table, frame, signals, lines, cursors, window) {
  const body = el("tbody");
  if (!frame) {
    table.replaceChildren(el("caption", {}, "Nothing to show yet."));
    return;
  }
  if (!cursors) {
    signals.forEach((signal, k) => {
      const shown = shownAs(signal), found = extremes(frame, k);
      body.append(row(`${signal.name}${shown.unit ? ` [${shown.unit}]` : ""}`,
        ...[found.newest, found.least, found.greatest].map((value) => cell(digits(shown.of(value))))));
    });
    lines.forEach((name, k) => body.append(row(name, cell(level(levelAt(frame, k, window.to - frame.linesStep_s / 2))), cell(""), cell(""))));
    table.replaceChildren(head("Signal", "at the end", "least", "greatest"), body);
    return;
  }
  const {dt_s, rate_Hz} = between(cursors);
  const {rows, levels} = readings(frame, cursors, signals, lines, shownAs);
  body.append(row("time from A to B", cell(""), cell(""), cell(withPrefix(dt_s, "s", 5))),
              row("1 / that time", cell(""), cell(""), cell(rate_Hz ? withPrefix(rate_Hz, "Hz", 5) : "–")));
  for (const r of rows) {
    body.append(row(`${r.name}${r.unit ? ` [${r.unit}]` : ""}`, ...[r.a, r.b, r.difference].map((value) => cell(digits(value)))));
  }
  for (const l of levels) body.append(row(l.name, cell(level(l.a)), cell(level(l.b)), cell(l.a !== null && l.a !== l.b && l.b !== null ? "changed" : "")));
  table.replaceChildren(head("Signal", "at A", "at B", "B − A"), body);
}
