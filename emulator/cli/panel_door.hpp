// Where a panel is served, with what token, and until when; what `run --panel` and `panel` share.
#pragma once

#include <atomic>
#include <chrono>
#include <memory>

#include "emulator/cli/panel_options.hpp"
#include "emulator/panel/server.hpp"

namespace stillrotor {

/// Says the address on stderr, and a token that it made. Throws InputError: the address, the
/// token's file, no terminal to show a token on; std::runtime_error: nothing can be served there.
std::unique_ptr<PanelServer> open_panel(const PanelRequest&, PanelServer::Shows);

/// Until nobody has been looking for so long, or `stop`. Whoever is not there at the call is not
/// waited for, unless somebody has been there before.
void wait_for_watchers(const PanelServer&, std::chrono::seconds grace,
                       const std::atomic<bool>& stop);

void wait_for_stop(const std::atomic<bool>& stop);

}  // namespace stillrotor
