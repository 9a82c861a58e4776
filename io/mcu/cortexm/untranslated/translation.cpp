// Where the library that writes machine code is missing, or the host is not an x86-64.
#include "io/mcu/cortexm/translation.hpp"

namespace stillrotor::io::cortexm {

std::unique_ptr<Translation> make_translation(Cpu&) { return nullptr; }

}  // namespace stillrotor::io::cortexm
