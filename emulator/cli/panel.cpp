// stillrotor panel: finished runs on a page.
#include <fmt/format.h>

#include <filesystem>
#include <memory>

#include "emulator/bench/input_error.hpp"
#include "emulator/cli/commands.hpp"
#include "emulator/cli/options.hpp"
#include "emulator/cli/panel_door.hpp"
#include "emulator/cli/panel_options.hpp"
#include "emulator/cli/program.hpp"
#include "emulator/cli/stop_signals.hpp"
#include "emulator/panel/run_shelf.hpp"

namespace stillrotor {
namespace {

struct CommandLine {
  std::filesystem::path folder;
  PanelRequest panel;
};

int serve(const CommandLine& request) {
  try {
    const StopSignals signals;
    RunShelf shelf(request.folder);
    PanelServer::Shows shows;
    shows.run = shelf.first();
    shows.choice = &shelf;
    const auto server = open_panel(request.panel, std::move(shows));
    wait_for_stop(signals.asked());
    return 0;
  } catch (const std::exception& error) {
    return report(error);
  }
}

}  // namespace

void add_panel(Command& program, int& status) {
  const auto request = std::make_shared<CommandLine>();
  Command command = program.add("panel", "Finished runs on a page: curves, lines, marks, verdicts");
  command.option("FOLDER", request->folder, "a run's folder, or one that holds several").required();
  add_panel_options(command, request->panel);
  command.footer(R"(Examples:
  stillrotor panel runs
  stillrotor panel runs/<folder> --port 0

Serves until it is interrupted. A run that goes on: stillrotor run BENCH SCENARIO --panel.
Exit status: 0; 2 no such folder, no run in it; 4 nothing can be served there.)");
  command.does([request, &status] { status = serve(*request); });
}

}  // namespace stillrotor
