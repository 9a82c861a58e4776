// Frame formats as published. Where the source says "from memory", check it against the data sheet
// of your part; tests/io/analog/frame_test.cpp holds the bytes.
#include <algorithm>
#include <iterator>

#include "io/analog/config.hpp"

namespace stillrotor::io {
namespace {

// 16 bits: channel, input buffer, gain (1: one), on (1), 12 bits of code. Data sheet DS22250, write
// command register.
// Its outputs follow each frame while the latch input is tied low.
const DacPart mcp4922{.name = "mcp4922",
                      .bits = 12,
                      .frame_bytes = 2,
                      .code_shift = 0,
                      .address_shift = 15,
                      .address_bits = 1,
                      .write = 0x3000,
                      .mode = 0,
                      .clock_most_Hz = 20e6,
                      .settling_s = 4.5e-6};

/// 24 bits: two unused, 3 of command, 3 of address, code left-aligned in 16. Command 0 writes, 2
/// writes and updates all.
DacPart three_byte_part(std::string name, int bits, double clock_Hz, double settling_s) {
  return {.name = std::move(name),
          .bits = bits,
          .frame_bytes = 3,
          .code_shift = 16 - bits,
          .address_shift = 16,
          .address_bits = 3,
          .write = 0,
          .write_and_update_all = 2U << 19,
          .mode = 1,
          .clock_most_Hz = clock_Hz,
          .settling_s = settling_s};
}

/// 32 bits: four unused, 4 of command, 4 of address, code left-aligned in 16, four unused. Commands
/// as above; command 8 with 1 switches the internal reference on.
DacPart four_byte_part(std::string name, int bits) {
  return {.name = std::move(name),
          .bits = bits,
          .frame_bytes = 4,
          .code_shift = 20 - bits,
          .address_shift = 20,
          .address_bits = 4,
          .write = 0,
          .write_and_update_all = 2U << 24,
          .mode = 1,
          .clock_most_Hz = 50e6,
          .settling_s = 10e-6};
}

const DacPart dac_parts[] = {
    mcp4922,
    three_byte_part("ad5624", 12, 50e6, 7e-6),    // data sheet Rev. 0, tables 7 and 8
    three_byte_part("ad5664", 16, 50e6, 7e-6),    // the same
    three_byte_part("dac7562", 12, 50e6, 10e-6),  // SLAS719, tables 10 to 12
    three_byte_part("dac8562", 16, 50e6, 10e-6),  // SLAS719, tables 8, 11, 12
    four_byte_part("ad5628",
                   12),  // data sheet, input shift register; Linux drivers/iio/dac/ad5064.c
    four_byte_part("ad5668", 16),  // the same
};

const AdcPart adc_parts[] = {
    // Start, single-ended, 3 of address, a clock to sample, a null, 12 of result. DS21298, section
    // 5 and figure 6-1. 2 MHz at 5 V, 1 MHz at 2.7 V.
    {.name = "mcp3208",
     .bits = 12,
     .frame_bytes = 3,
     .address_shift = 14,
     .address_bits = 3,
     .convert = 0x060000,
     .mode = 0,
     .clock_most_Hz = 2e6},
    // Two unused, 3 of address, 11 unused; four zeros and the 12 bits that the frame before asked
    // for. Linux drivers/iio/adc/ti-adc128s052.c; the clock (3.2 MHz at least) from memory.
    {.name = "adc128s052",
     .bits = 12,
     .frame_bytes = 2,
     .address_shift = 11,
     .address_bits = 3,
     .frames_late = 1,
     .mode = 0,
     .clock_most_Hz = 8e6},
};

template <class Parts>
auto find(const Parts& parts, std::string_view name) noexcept {
  const auto found = std::find_if(std::begin(parts), std::end(parts),
                                  [name](const auto& part) { return part.name == name; });
  return found == std::end(parts) ? nullptr : &*found;
}

std::string names(const auto& parts) {
  std::string all;
  for (const auto& part : parts) all += (all.empty() ? "" : ", ") + part.name;
  return all;
}

}  // namespace

const DacPart* find_dac_part(std::string_view name) noexcept { return find(dac_parts, name); }
const AdcPart* find_adc_part(std::string_view name) noexcept { return find(adc_parts, name); }
std::string known_dac_parts() { return names(dac_parts); }
std::string known_adc_parts() { return names(adc_parts); }

}  // namespace stillrotor::io
