// Converters of a controller on real wires while a bench is being read: settings of io/analog
// beside what people write as text.
#pragma once

#include <array>
#include <string>

#include "io/analog/config.hpp"

namespace stillrotor {

inline constexpr std::array dac_names{"dac_a", "dac_b", "dac_c", "dac_d"};
inline constexpr std::array adc_names{"adc_a", "adc_b"};
inline constexpr std::array iio_names{"iio_a", "iio_b"};

struct DacDraft {
  io::SpiDacConfig config;
  int low_byte_first = 0;
  std::string write, write_and_update, start;  // words of a frame
  std::string latch_chip;
  int latch_offset = -1, latch_active_high = 0;
};

struct AdcDraft {
  io::SpiAdcConfig config;
  int low_byte_first = 0;
  std::string convert;
};

/// A wire's end at a converter.
struct ConverterEnd {
  int converter = -1;  // index of a name: of a channel in dac_names, of a gate in adc_names and
                       // then iio_names
  int address = -1;
  double scale = 1.0, shift_V = 0.0;
  double least_V = 0.0, most_V = 0.0, safe_V = 0.0;  // of a channel
  double filter_s = 0.0;                             // of a gate
  std::string calibration;                           // "0.1 V: 0.112 V, 4.9 V: 4.88 V"

  bool wired() const { return converter >= 0; }
};

struct ConverterDrafts {
  std::array<DacDraft, dac_names.size()> dac;
  std::array<AdcDraft, adc_names.size()> adc;
  std::array<io::IioConfig, iio_names.size()> iio;
  int priority = 60, core = -1, stalled_after = 8;
  double wake_s = 50e-6;
  std::array<ConverterEnd, io::channel_count> channel;
  std::array<ConverterEnd, io::gate_count> gate;
};

}  // namespace stillrotor
