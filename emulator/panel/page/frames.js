// Binary frames of the panel's messages: one ArrayBuffer -> one object. Values are views into the buffer.
const HEADER = 64;
const KINDS = {1: "scope", 2: "samples", 3: "stream"};

/// Throws RangeError on what is not a frame of version 1.
export function decodeFrame(buffer) {
  if (buffer.byteLength < HEADER) throw new RangeError(`a frame of ${buffer.byteLength} bytes has no header`);
  const head = new DataView(buffer);
  if (head.getUint8(0) !== 1) throw new RangeError(`frame version ${head.getUint8(0)}; 1 is known`);
  const kind = KINDS[head.getUint8(1)];
  if (!kind) throw new RangeError(`frame kind ${head.getUint8(1)}; 1 to 3 are known`);
  const flags = head.getUint8(3);
  const frame = {
    kind,
    view: head.getUint8(2),
    follows: (flags & 1) !== 0,
    caught: (flags & 2) !== 0,
    raw: (flags & 4) !== 0 || kind !== "scope",
    sequence: head.getUint32(4, true),
    from_s: head.getFloat64(8, true),
    step_s: head.getFloat64(16, true),
    columns: head.getUint32(24, true),
    trigger_s: head.getFloat64(32, true),
    linesFrom_s: head.getFloat64(40, true),
    linesStep_s: head.getFloat64(48, true),
    lineColumns: head.getUint32(56, true),
    signals: [],
    lines: [],
  };
  const signals = head.getUint16(28, true);
  const lines = head.getUint16(30, true);
  const floats = frame.columns * (frame.raw ? 1 : 4);
  const length = HEADER + signals * floats * 4 + lines * frame.lineColumns;
  if (length !== buffer.byteLength) throw new RangeError(`a frame of ${buffer.byteLength} bytes; its header says ${length}`);

  let at = HEADER;
  const take = () => {
    const values = new Float32Array(buffer, at, frame.columns);
    at += frame.columns * 4;
    return values;
  };
  for (let k = 0; k < signals; ++k) {
    frame.signals.push(frame.raw ? {values: take()} : {first: take(), least: take(), greatest: take(), last: take()});
  }
  for (let k = 0; k < lines; ++k) {
    frame.lines.push(new Uint8Array(buffer, at, frame.lineColumns));
    at += frame.lineColumns;
  }
  return frame;
}

/// Points to draw: four a column (first, least, greatest, last), or one a raw sample.
export function pointTimes(frame) {
  const each = frame.raw ? 1 : 4;
  const times = new Float64Array(frame.columns * each);
  for (let k = 0; k < times.length; ++k) times[k] = frame.from_s + (k / each) * frame.step_s;
  return times;
}

/// The values at those points in the unit shown, null where there is nothing.
export function pointValues(frame, k, shown = (x) => x) {
  const signal = frame.signals[k];
  const parts = frame.raw ? [signal.values] : [signal.first, signal.least, signal.greatest, signal.last];
  const out = new Array(frame.columns * parts.length);
  for (let c = 0, n = 0; c < frame.columns; ++c) {
    for (const part of parts) {
      const value = part[c];
      out[n++] = Number.isNaN(value) ? null : shown(value);
    }
  }
  return out;
}

/// Value of a signal at a time (the column's last, the nearest sample); NaN outside.
export function valueAt(frame, k, at_s) {
  const place = (at_s - frame.from_s) / frame.step_s;
  const column = frame.raw ? Math.round(place) : Math.floor(place + 1e-9);
  const signal = frame.signals[k];
  if (!signal || column < 0 || column >= frame.columns) return NaN;
  return frame.raw ? signal.values[column] : signal.last[column];
}

/// Level of a line at the end of the column that holds the time: 0, 1, or null (not known).
export function levelAt(frame, k, at_s) {
  const column = Math.floor((at_s - frame.linesFrom_s) / frame.linesStep_s + 1e-9);
  const line = frame.lines[k];
  if (!line || column < 0 || column >= frame.lineColumns || line[column] === 0) return null;
  return (line[column] >> 2) & 1;
}

/// Newest value, least and greatest of a signal in the frame.
export function extremes(frame, k) {
  const signal = frame.signals[k];
  const [low, high, last] = frame.raw ? [signal.values, signal.values, signal.values] : [signal.least, signal.greatest, signal.last];
  let least = Infinity, greatest = -Infinity, newest = NaN;
  for (let c = 0; c < frame.columns; ++c) {
    if (low[c] < least) least = low[c];
    if (high[c] > greatest) greatest = high[c];
    if (!Number.isNaN(last[c])) newest = last[c];
  }
  return least > greatest ? {least: NaN, greatest: NaN, newest: NaN} : {least, greatest, newest};
}
