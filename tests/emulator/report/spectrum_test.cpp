// Amplitudes by frequency, against sines that are known.
#include "emulator/report/spectrum.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

namespace stillrotor {
namespace {

std::vector<float> waves(std::size_t n, double rate_Hz,
                         std::initializer_list<std::pair<double, double>> frequency_amplitude) {
  std::vector<float> out(n);
  for (std::size_t k = 0; k < n; ++k) {
    double value = 12.0;  // a mean that is no line
    for (const auto& [frequency, amplitude] : frequency_amplitude)
      value += amplitude *
               std::sin(2.0 * std::numbers::pi * frequency * static_cast<double>(k) / rate_Hz);
    out[k] = static_cast<float>(value);
  }
  return out;
}

// 4096 points at 4096 Hz: lines of 1 Hz. A Hann window halves the line's neighbours and nothing
// else.
TEST(Spectrum, ShowsPeakAmplitudesOfSinesOnALine) {
  const auto values = waves(4096, 4096.0, {{50.0, 3.0}, {700.0, 0.2}});
  const Spectrum found = spectrum(values, 4096.0);
  ASSERT_EQ(found.amplitude.size(), 2049U);
  EXPECT_DOUBLE_EQ(found.step_Hz, 1.0);
  EXPECT_NEAR(found.amplitude[50], 3.0, 1e-4);
  EXPECT_NEAR(found.amplitude[49], 1.5, 1e-4);
  EXPECT_NEAR(found.amplitude[700], 0.2, 1e-4);
  EXPECT_NEAR(found.amplitude[0], 0.0, 1e-4);
  EXPECT_NEAR(found.amplitude[300], 0.0, 1e-4);
}

// Half a line aside a Hann window shows 8 / (3 pi) = 0.849 of the amplitude.
TEST(Spectrum, LosesAtMostFifteenPerCentBesideALine) {
  const Spectrum found = spectrum(waves(4096, 4096.0, {{50.5, 1.0}}), 4096.0);
  EXPECT_NEAR(found.amplitude[50], 8.0 / (3.0 * std::numbers::pi), 2e-3);
}

TEST(Spectrum, TakesTheLastPowerOfTwo) {
  EXPECT_EQ(spectrum(waves(5000, 1000.0, {{100.0, 1.0}}), 1000.0).amplitude.size(), 2049U);
  EXPECT_TRUE(spectrum(waves(63, 1000.0, {}), 1000.0).amplitude.empty());
}

}  // namespace
}  // namespace stillrotor
