#include "emulator/cli/panel_options.hpp"

#include "emulator/bench/input_error.hpp"

namespace stillrotor {

void add_panel_options(Command& command, PanelRequest& to, const CommandOption* panel) {
  const auto of_panel = [panel](CommandOption option) {
    if (panel != nullptr) option.needs(*panel);
    return option;
  };
  of_panel(command.option("--port", to.port, "of the panel (default 8642; 0: any that is free)"))
      .whole_within(0, 65535);
  of_panel(command.option("--listen", to.listen,
                          "address of this computer that the panel is served at (default "
                          "127.0.0.1: to nobody else). Elsewhere it asks for a token"));
  of_panel(command.option("--token-file", to.token_file,
                          "file with the panel's token, which nobody else can read; without it one "
                          "is made where it is needed, and shown once on the terminal"));
}

void require_panel() {
#ifndef STILLROTOR_PANEL
  throw InputError(
      "This program was built without the panel, because npm, or what it fetches once, was "
      "missing. "
      "Install npm, configure again (cmake --preset release) and build.");
#endif
}

}  // namespace stillrotor
