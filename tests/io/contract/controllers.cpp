// To put a controller under the contract: add a row here. It is then driven through power, key,
// throttle, brake and power-off on a turning motor; it must drive gate edges on the way. A row that
// needs a file (firmware, recording) takes it from STILLROTOR_BUILD_DIR or STILLROTOR_SOURCE_DIR; a
// row whose backend this build lacks stands between #ifdef and #endif.
#include "tests/io/contract/controllers.hpp"

#include <algorithm>
#include <array>

#include "io/backends.hpp"

namespace stillrotor::io::test {
namespace {

CaptureConfig recorded_six_step() {
  CaptureConfig config;
  config.file = STILLROTOR_SOURCE_DIR "/configs/captures/orchard-cart-coast.vcd";
  for (std::size_t k = 0; k < gate_count; ++k)
    config.signals[k] =
        std::array{"gate_uh", "gate_ul", "gate_vh", "gate_vl", "gate_wh", "gate_wl"}[k];
  return config;
}

#ifdef STILLROTOR_HAS_MCU_FIRMWARE
McuConfig orchard_firmware() {
  McuConfig config;
  config.firmware = STILLROTOR_BUILD_DIR "/firmware/orchard_six_step.elf";
  const std::array pins = {"PD6", "PD2", "PD5", "PD4", "PB3", "PB0", "PC0", "PC1", "PC2"};
  std::copy(pins.begin(), pins.end(), config.line_pins.begin());
  config.line_pins[index(line::brake)] = "PD7";
  config.adc_pins = {"ADC3", "ADC4", "ADC6", "ADC7", "ADC5"};
  return config;
}
/// A 4-cycle instruction and the entry of an interrupt out of sleep: 12 cycles of 16 MHz.
constexpr Time longest_avr_step{12 * 62'500};
#endif

#ifdef STILLROTOR_HAS_CORTEX_FIRMWARE
McuConfig firmware_for_a_cortex() {
  McuConfig config;
  config.part = "stm32f405";
  config.firmware = STILLROTOR_BUILD_DIR "/firmware/orchard_foc_m4.elf";
  config.input_divider = 0.66;
  const std::array pins = {"PA8", "PB13", "PA9", "PB14", "PA10", "PB15",
                           "PC6", "PC7",  "PC8", "PA15", "PB3",  "PB10"};
  std::copy(pins.begin(), pins.end(), config.line_pins.begin());
  config.line_pins[index(line::key)] = "PB0";
  config.line_pins[index(line::brake)] = "PB1";
  config.adc_pins = {"PC0", "PA0", "PA1", "PA2", "PC1"};
  return config;
}
/// The entry of an interrupt with its floating-point frame: 30 cycles, of the 16 MHz it starts
/// with.
constexpr Time longest_cortex_step{30 * 62'500};
#endif

}  // namespace

std::vector<Candidate> candidates() {
  return {
      {"SixStep", [] { return make_controller(SixStepConfig{}); }},
      {"FieldOriented", [] { return make_controller(FieldOrientedConfig{}); }},
      {"VoltsPerHertz", [] { return make_controller(VoltsPerHertzConfig{}); }},
      {"HostFirmware",
       [] {
         return make_controller(HostFirmwareConfig{
             .firmware = STILLROTOR_BUILD_DIR "/firmware/test_probe.so", .settings = {}});
       }},
      {"Capture", [] { return make_controller(recorded_six_step()); }},
#ifdef STILLROTOR_HAS_MCU_FIRMWARE
      {"Mcu", [] { return make_controller(orchard_firmware()); }, 5.0, longest_avr_step},
#endif
#ifdef STILLROTOR_HAS_CORTEX_FIRMWARE
      {"CortexM", [] { return make_controller(firmware_for_a_cortex()); }, 5.0,
       longest_cortex_step},
#endif
  };
}

}  // namespace stillrotor::io::test
