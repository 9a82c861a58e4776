// Amplitudes of what a signal holds at each frequency.
// Method  mean and straight trend taken off, Hann window, FFT; peak amplitude of a sine on a line,
//         0.4 % low to 15 % low beside one (the window's scalloping).
// Source  F. J. Harris, On the use of windows for harmonic analysis with the discrete Fourier
//         transform, Proc. IEEE 66 (1978), table 1: from memory.
#pragma once

#include <span>
#include <vector>

namespace stillrotor {

struct Spectrum {
  double step_Hz = 0.0;           // between two lines
  std::vector<double> amplitude;  // of line k at k step_Hz, peak, in the signal's unit
};
/// Of the last 2^n values there are; empty below 64.
Spectrum spectrum(std::span<const float> values, double rate_Hz);

}  // namespace stillrotor
