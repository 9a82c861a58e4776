// What the command line says of a panel.
#pragma once

#include <filesystem>
#include <string>

#include "emulator/cli/options.hpp"

namespace stillrotor {

struct PanelRequest {
  bool asked = false;  // of a run; the command `panel` always is
  bool start_now = false;
  int port = 8642;
  std::string listen = "127.0.0.1";
  std::filesystem::path token_file;
};

/// --port, --listen, --token-file; they mean nothing without the option `panel`, where there is
/// one.
void add_panel_options(Command&, PanelRequest&, const CommandOption* panel = nullptr);

/// Throws InputError where this program was built without the panel.
void require_panel();

}  // namespace stillrotor
