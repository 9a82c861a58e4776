// In the place of panelled.cpp where the panel is not built: require_panel() has refused before any
// of this is called, and `panel` refuses by itself.
#include <stdexcept>

#include "emulator/cli/commands.hpp"
#include "emulator/cli/options.hpp"
#include "emulator/cli/panelled.hpp"
#include "emulator/cli/program.hpp"

namespace stillrotor {

struct PanelledRun::Impl {};

PanelledRun::PanelledRun(const PanelRequest&, const Bench&, const Scenario&, const RecordHeader&,
                         bool) {
  require_panel();
}
PanelledRun::~PanelledRun() = default;
RunSink& PanelledRun::in_front_of(RunSink& record) { return record; }
LiveControl& PanelledRun::control() { throw std::logic_error("there is no panel"); }
void PanelledRun::lateness(const LatencyHistogram&) {}
void PanelledRun::ended(const std::filesystem::path&, const Integrity&) {}
void PanelledRun::judged(std::string_view, std::string_view) {}
void PanelledRun::report(std::string) {}
void PanelledRun::failed(std::string_view) {}
void PanelledRun::serve(const std::atomic<bool>&) {}

void add_panel(Command& program, int& status) {
  Command command = program.add("panel", "Finished runs on a page (not in this build)");
  command.hears_nothing();
  command.does([&status] {
    try {
      require_panel();
    } catch (const std::exception& error) {
      status = report(error);
    }
  });
}

}  // namespace stillrotor
