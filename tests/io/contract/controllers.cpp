// To put a controller under the contract: add a row here. It is then driven through power, key,
// throttle, brake and power-off on a turning motor; it must drive gate edges on the way. A row that
// needs a file (firmware, recording) takes it from STILLROTOR_BUILD_DIR or STILLROTOR_SOURCE_DIR; a
// row whose backend this build lacks stands between #ifdef and #endif.
#include "tests/io/contract/controllers.hpp"

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

}  // namespace

std::vector<Candidate> candidates() {
  return {
      {"SixStep", [] { return make_controller(SixStepConfig{}); }},
      {"FieldOriented", [] { return make_controller(FieldOrientedConfig{}); }},
      {"Capture", [] { return make_controller(recorded_six_step()); }},
  };
}

}  // namespace stillrotor::io::test
