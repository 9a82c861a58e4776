// To put a controller under the contract: add a row here. It is then driven through power, key,
// throttle, brake and power-off on a turning motor; it must drive gate edges on the way. A row that
// needs a file (firmware, recording) takes it from STILLROTOR_BUILD_DIR or STILLROTOR_SOURCE_DIR; a
// row whose backend this build lacks stands between #ifdef and #endif.
#include "tests/io/contract/controllers.hpp"

#include "io/backends.hpp"

namespace stillrotor::io::test {

std::vector<Candidate> candidates() {
  return {
      {"SixStep", [] { return make_controller(SixStepConfig{}); }},
      {"FieldOriented", [] { return make_controller(FieldOrientedConfig{}); }},
  };
}

}  // namespace stillrotor::io::test
