// Amplitude spectrum of a real signal: mean taken out, Hann window, radix-2 transform.

/// In place; length a power of two.
export function fft(re, im) {
  const n = re.length;
  if (n === 0 || (n & (n - 1)) !== 0) throw new RangeError(`a length of ${n}; powers of two only`);
  for (let i = 1, j = 0; i < n; ++i) {
    let bit = n >> 1;
    for (; j & bit; bit >>= 1) j ^= bit;
    j ^= bit;
    if (i < j) {
      [re[i], re[j]] = [re[j], re[i]];
      [im[i], im[j]] = [im[j], im[i]];
    }
  }
  for (let length = 2; length <= n; length <<= 1) {
    const half = length >> 1, angle = (-2 * Math.PI) / length;
    for (let k = 0; k < half; ++k) {
      const c = Math.cos(angle * k), s = Math.sin(angle * k);
      for (let i = k; i < n; i += length) {
        const j = i + half;
        const x = re[j] * c - im[j] * s, y = re[j] * s + im[j] * c;
        re[j] = re[i] - x; im[j] = im[i] - y;
        re[i] += x; im[i] += y;
      }
    }
  }
}

/// {step_Hz, amplitude[], mean, window_s} of the newest power-of-two samples behind the last hole; null where
/// there are under 16. amplitude[k]: of a sine at k step_Hz, peak, in the signal's unit; 0 at k = 0.
export function amplitudeSpectrum(samples, step_s) {
  let whole = samples.length;
  while (whole > 0 && !Number.isNaN(samples[whole - 1])) --whole;
  samples = samples.subarray(whole);
  const n = 2 ** Math.floor(Math.log2(samples.length || 1));
  if (n < 16) return null;
  const newest = samples.subarray(samples.length - n);
  let mean = 0;
  for (const x of newest) mean += x / n;
  const re = new Float64Array(n), im = new Float64Array(n);
  for (let k = 0; k < n; ++k) re[k] = (newest[k] - mean) * (0.5 - 0.5 * Math.cos((2 * Math.PI * k) / n));
  fft(re, im);
  // A window's mean is 1/2, and half of a sine's amplitude lies at the negative frequency: 2 * 2 / n.
  const amplitude = new Float64Array(n / 2);
  for (let k = 1; k < n / 2; ++k) amplitude[k] = (4 / n) * Math.hypot(re[k], im[k]);
  return {step_Hz: 1 / (n * step_s), amplitude, mean, window_s: n * step_s};
}

/// The greatest lines, {frequency_Hz, amplitude}: local maxima at least 3 steps apart (a Hann line is 4 wide).
export function greatestLines(spectrum, count) {
  const a = spectrum.amplitude, peaks = [];
  for (let k = 2; k < a.length - 1; ++k) {
    if (a[k] > a[k - 1] && a[k] >= a[k + 1]) peaks.push(k);
  }
  peaks.sort((x, y) => a[y] - a[x]);
  const kept = [];
  for (const k of peaks) {
    if (kept.length === count) break;
    if (kept.every((other) => Math.abs(other - k) >= 3)) kept.push(k);
  }
  return kept.map((k) => ({frequency_Hz: k * spectrum.step_Hz, amplitude: a[k]}));
}
