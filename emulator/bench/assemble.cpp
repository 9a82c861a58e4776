// From the draft to the bench: what follows from what, and what cannot be together.
#include "emulator/bench/assembly.hpp"

namespace stillrotor {
namespace {

class ControlsAssembly : public Assembly {
 public:
  using Assembly::Assembly;
  void assemble() {
    ordered("controls.throttle_idle", d_.bench.controls.throttle_idle_V, "controls.throttle_full",
            d_.bench.controls.throttle_full_V);
  }
};

}  // namespace

void assemble(Readings& readings, Draft& draft, const std::filesystem::path& build_dir,
              Problems& problems) {
  assemble_machine(readings, draft, problems);
  assemble_supply(readings, draft, problems);
  assemble_sensors(readings, draft, problems);
  ControlsAssembly(readings, draft, problems).assemble();
  assemble_controller(readings, draft, build_dir, problems);
  assemble_harness(readings, draft, problems);
}

}  // namespace stillrotor
