// Stillrotor: stands in for power stage, motor, battery and vehicle at a motor controller's
// low-voltage connector.
#include <fmt/core.h>

#include <CLI/CLI.hpp>
#include <exception>

#include "emulator/cli/commands.hpp"
#include "emulator/cli/program.hpp"

int main(int argc, char** argv) {
  CLI::App app{
      "Stands in for power stage, motor, battery and vehicle at a motor controller's low-voltage\n"
      "connector: drives it, breaks it, records it and judges it. Nothing here is a safety "
      "function.",
      "stillrotor"};
  app.require_subcommand(1);
  app.set_version_flag("--version",
                       fmt::format("stillrotor {} ({})", stillrotor::software_version(),
                                   stillrotor::software_commit()));
  app.footer(R"(Examples:
  stillrotor list benches
  stillrotor check configs/benches/orchard-cart-hub.yaml
  stillrotor run configs/benches/orchard-cart-hub.yaml configs/scenarios/hall-wire-breaks.yaml
  stillrotor record info runs/<folder>
  stillrotor compare runs/<before> runs/<after>

`stillrotor COMMAND --help` says more.)");

  int status = 0;
  stillrotor::add_run(app, status);
  stillrotor::add_check(app, status);
  stillrotor::add_list(app, status);
  stillrotor::add_record(app, status);
  stillrotor::add_report(app, status);
  stillrotor::add_compare(app, status);
  stillrotor::add_baseline(app, status);
  stillrotor::add_host(app, status);

  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    return app.exit(error) == 0 ? 0 : stillrotor::exit_request_wrong;
  } catch (const std::exception& error) {
    return stillrotor::report(error);
  }
  return status;
}
