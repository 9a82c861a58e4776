#include "emulator/cli/panel_door.hpp"

#include <fmt/format.h>
#include <unistd.h>

#include <string>
#include <thread>

#include "emulator/bench/input_error.hpp"
#include "emulator/panel/access.hpp"

namespace stillrotor {

std::unique_ptr<PanelServer> open_panel(const PanelRequest& request, PanelServer::Shows shows) {
  require_address(request.listen);
  std::string token;
  bool made = false;
  if (!request.token_file.empty()) {
    token = read_token(request.token_file);
  } else if (!is_loopback(request.listen)) {
    // What goes into a file or a pipe is read by others, and stays.
    if (isatty(STDERR_FILENO) == 0)
      throw InputError(fmt::format(
          "--listen is {}: that needs a token, and there is no terminal to show one on. Give "
          "--token-file FILE, made by: (umask 077; openssl rand -hex 16 > FILE)",
          request.listen));
    token = make_token();
    made = true;
  }
  auto server = std::make_unique<PanelServer>(
      ListenAddress{request.listen, static_cast<std::uint16_t>(request.port)}, token,
      std::move(shows));
  fmt::print(stderr, "panel: {}\n", server->url());
  if (made) fmt::print(stderr, "token, shown this once: {}\n", token);
  return server;
}

void wait_for_watchers(const PanelServer& server, std::chrono::seconds grace,
                       const std::atomic<bool>& stop) {
  using Clock = std::chrono::steady_clock;
  if (!server.ever_watched()) return;
  Clock::time_point seen = Clock::now();
  while (!stop && Clock::now() - seen < grace) {
    std::this_thread::sleep_for(std::chrono::milliseconds(50));
    if (server.watchers() > 0) seen = Clock::now();
  }
}

void wait_for_stop(const std::atomic<bool>& stop) {
  while (!stop) std::this_thread::sleep_for(std::chrono::milliseconds(50));
}

}  // namespace stillrotor
