// Stillrotor: stands in for power stage, motor, battery and vehicle at a motor controller's
// low-voltage connector.
#include <fmt/core.h>

#include "emulator/cli/commands.hpp"
#include "emulator/cli/options.hpp"
#include "emulator/cli/program.hpp"

int main(int argc, char** argv) {
  using namespace stillrotor;
  const ProgramText text{
      "Stands in for power stage, motor, battery and vehicle at a motor controller's low-voltage\n"
      "connector: drives it, breaks it, records it and judges it. Nothing here is a safety "
      "function.",
      "stillrotor", fmt::format("stillrotor {} ({})", software_version(), software_commit())};
  int status = 0;
  const auto set_up = [&status](Command& program) {
    program.needs_command();
    program.footer(R"(Examples:
  stillrotor list benches
  stillrotor check configs/benches/orchard-cart-hub.yaml
  stillrotor run configs/benches/orchard-cart-hub.yaml configs/scenarios/hall-wire-breaks.yaml
  stillrotor record info runs/<folder>
  stillrotor compare runs/<before> runs/<after>

`stillrotor COMMAND --help` says more.)");
    for (const auto add : {add_run, add_check, add_list, add_record, add_report, add_panel,
                           add_compare, add_baseline, add_host})
      add(program, status);
  };
  return read_command_line(text, argc, argv, set_up, [&status] { return status; });
}
