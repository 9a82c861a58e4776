// The scope's logic traces, its time axis, and what lies over all strips: marks, trigger, cursors.
import {colour} from "./dom.js";
import {markWords} from "./marks.js";
import {colourNumber, curveColour} from "./palette.js";
import {RIGHT} from "./strips.js";
import {decimalsFor, DIVISIONS, divisions} from "./timebase.js";

export const ROW = 20; // pixels a logic trace
const FONT = "12px system-ui, sans-serif";

/// A canvas of so many CSS pixels, ready to draw on in them.
export function sized(canvas, width, height) {
  const ratio = devicePixelRatio || 1;
  if (canvas.width !== Math.round(width * ratio) || canvas.height !== Math.round(height * ratio)) {
    canvas.width = Math.round(width * ratio);
    canvas.height = Math.round(height * ratio);
    canvas.style.width = `${width}px`;
    canvas.style.height = `${height}px`;
  }
  const pen = canvas.getContext("2d");
  pen.setTransform(ratio, 0, 0, ratio, 0, 0);
  pen.clearRect(0, 0, width, height);
  return pen;
}

export function drawLogic(canvas, frame, names, window, {width, gutter}) {
  const pen = sized(canvas, width, Math.max(1, names.length * ROW + (names.length ? 6 : 0)));
  const plot = width - gutter - RIGHT, soft = colour("--soft"), rule = colour("--rule");
  pen.font = FONT;
  pen.textBaseline = "middle";
  if (!names.length) return;
  pen.strokeStyle = rule;
  pen.lineWidth = 1;
  const xOf = (t) => gutter + ((t - window.from) / (window.to - window.from)) * plot;
  for (const t of divisions(window)) {
    const x = Math.round(xOf(t)) + 0.5;
    pen.beginPath(); pen.moveTo(x, 0); pen.lineTo(x, names.length * ROW); pen.stroke();
  }
  names.forEach((name, row) => {
    const low = row * ROW + ROW - 3.5, high = row * ROW + 4.5;
    pen.textAlign = "right";
    pen.fillStyle = soft;
    pen.fillText(name.replace(/^(gates|encoder)\./, ""), gutter - 6, row * ROW + ROW / 2);
    const line = frame?.lines[row];
    if (!line) return;
    pen.save();
    pen.beginPath(); pen.rect(gutter, row * ROW, plot, ROW); pen.clip();
    const ink = curveColour(colourNumber(name, row));
    pen.strokeStyle = ink;
    pen.fillStyle = ink;
    pen.lineWidth = 1.4;
    const step = xOf(window.from + frame.linesStep_s) - gutter;
    const start = xOf(frame.linesFrom_s);
    // On whole pixels edges are sharp, where a column is at least that wide.
    const edgeAt = (c) => (step < 1 ? start + c * step : Math.round(start + c * step) + 0.5);
    let level = null;
    pen.beginPath();
    for (let c = 0; c < line.length; ++c) {
      const x = edgeAt(c), next = edgeAt(c + 1);
      const seen = line[c] & 3, end = line[c] & 4 ? high : low;
      if (seen === 0) { level = null; continue; }
      const lone = level !== null && level !== end && (line[c - 1] & 3) !== 3 && (line[c + 1] & 3) !== 3;
      if (seen === 3 && step < 2.5 && !lone) { // more changes than the picture can tell apart
        pen.globalAlpha = 0.45;
        pen.fillRect(x, high, next - x + 0.5, low - high);
        pen.globalAlpha = 1;
        pen.moveTo(next, end);
      } else {
        const now = seen === 3 ? (end === high ? low : high) : end;
        if (level === null) pen.moveTo(x, now);
        else if (level !== now) { pen.lineTo(x, level); pen.lineTo(x, now); }
        if (seen === 3) { pen.lineTo((x + next) / 2, now); pen.lineTo((x + next) / 2, end); }
        pen.lineTo(next, end);
      }
      level = end;
    }
    pen.stroke();
    pen.restore();
  });
}

/// Labels at the divisions, counted from the window's zero.
export function drawTimeAxis(canvas, window, {width, gutter}) {
  const pen = sized(canvas, width, 22), plot = width - gutter - RIGHT, span = window.to - window.from;
  const scale = span < 2e-3 ? [1e6, "µs"] : span < 2 ? [1e3, "ms"] : [1, "s"];
  pen.font = FONT;
  pen.textBaseline = "top";
  pen.fillStyle = colour("--soft");
  const every = plot < 420 ? 5 : plot < 700 ? 2 : 1;
  const each = span / DIVISIONS, places = decimalsFor(each * scale[0]), labelled = divisions(window).filter((t) => Math.round((t - window.zero) / each) % every === 0);
  labelled.forEach((t, k) => {
    const x = gutter + ((t - window.from) / span) * plot, last = k === labelled.length - 1;
    const words = (Math.round((t - window.zero) / each) * each * scale[0]).toFixed(places).replace(/^-(?=[0.]*[1-9])/, "−").replace("-", "");
    pen.textAlign = x < gutter + 20 ? "left" : last && x > gutter + plot - 40 ? "right" : "center";
    pen.fillText(last ? `${words} ${scale[1]}` : words, x, 4);
  });
}

const FLAG_ROWS = 2, FLAG_HEIGHT = 16;
export const FLAGS = FLAG_ROWS * FLAG_HEIGHT + 4;

/// Marks, trigger and cursors over everything. marks: those inside the window.
export function drawOverlay(canvas, window, {marks, trigger_s, cursors, chosen}, {width, height, gutter}) {
  const pen = sized(canvas, width, height), plot = width - gutter - RIGHT;
  const xOf = (t) => gutter + ((t - window.from) / (window.to - window.from)) * plot;
  const inside = (x) => x >= gutter - 0.5 && x <= gutter + plot + 0.5;
  const inks = {fault: colour("--alarm"), gap: colour("--unsure"), action: colour("--accent"), event: colour("--soft"), text: colour("--soft")};
  pen.font = FONT;
  pen.textBaseline = "middle";
  pen.textAlign = "left";
  const upright = (x, ink, dash, widthOf = 1) => {
    pen.strokeStyle = ink;
    pen.lineWidth = widthOf;
    pen.setLineDash(dash);
    pen.beginPath(); pen.moveTo(x, FLAGS); pen.lineTo(x, height); pen.stroke();
    pen.setLineDash([]);
  };
  const free = new Array(FLAG_ROWS).fill(-Infinity);
  let untold = 0;
  for (const mark of marks) {
    const x = Math.max(gutter, xOf(mark.t_s)), ink = inks[mark.kind] ?? inks.text;
    if (mark.kind === "gap") {
      const to = Math.min(gutter + plot, Math.max(x + 1, xOf(mark.to_s)));
      pen.globalAlpha = 0.22;
      pen.fillStyle = ink;
      pen.fillRect(x, FLAGS, to - x, height - FLAGS);
      pen.globalAlpha = 1;
    } else if (!inside(xOf(mark.t_s))) {
      continue;
    }
    upright(x, ink, mark.kind === "fault" ? [6, 3] : mark.kind === "action" ? [] : [2, 3], mark.kind === "fault" ? 1.8 : 1);
    const all = markWords(mark), words = all.length > 60 ? `${all.slice(0, 58)} …` : all;
    const length = pen.measureText(words).width + 8;
    const start = Math.min(x, gutter + plot - length);
    const row = free.findIndex((end) => end <= start);
    if (row < 0) { ++untold; continue; }
    free[row] = start + length + 4;
    pen.fillStyle = ink;
    pen.fillText(words, start + 2, row * FLAG_HEIGHT + FLAG_HEIGHT / 2);
    pen.fillRect(x - 0.5, row * FLAG_HEIGHT + FLAG_HEIGHT - 2, 1, FLAGS - row * FLAG_HEIGHT - FLAG_HEIGHT + 2);
  }
  if (untold) {
    pen.textAlign = "right";
    pen.fillStyle = colour("--soft");
    pen.fillText(`+${untold}`, gutter - 6, FLAG_HEIGHT / 2);
  }
  if (Number.isFinite(trigger_s) && inside(xOf(trigger_s))) {
    const x = xOf(trigger_s);
    upright(x, colour("--ink"), [1, 3], 1.4);
    pen.fillStyle = colour("--ink");
    pen.beginPath(); pen.moveTo(x - 6, FLAGS); pen.lineTo(x + 6, FLAGS); pen.lineTo(x, FLAGS + 9); pen.fill();
  }
  for (const [name, at_s] of Object.entries(cursors)) {
    const x = xOf(at_s);
    if (!inside(x)) continue;
    upright(x, colour("--ink"), name === chosen ? [] : [4, 4], name === chosen ? 1.6 : 1.2);
    pen.fillStyle = colour("--ink");
    pen.fillRect(x - 9, height - 18, 18, 18);
    pen.fillStyle = colour("--paper");
    pen.textAlign = "center";
    pen.fillText(name, x, height - 9);
    pen.textAlign = "left";
  }
}
