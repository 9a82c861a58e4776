// The panel's sockets: HTTP for the page, a WebSocket a page for everything else. One thread of its
// own, at a lower priority than what runs.
// Slow readers  a connection has one thing on its way at most; what it misses is counted, and
//               nobody waits for it. One that answers no ping within 20 s is closed.
#pragma once

#include <atomic>
#include <chrono>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <memory>
#include <string>

#include "emulator/panel/access.hpp"
#include "emulator/panel/panel.hpp"

namespace stillrotor {

namespace server_limit {
inline constexpr std::size_t connections = 64, header_bytes = 8192;
}

class PanelServer {
 public:
  struct Shows {
    std::shared_ptr<ShownRun> run;
    DrivenRun* driven = nullptr;  // nullptr: nothing to drive
    RunChoice* choice = nullptr;  // nullptr: there is one run
    /// Called often by the server's thread, to take in what the run has produced; true: there was
    /// much, call again soon. May be empty.
    std::function<bool(Panel&, std::chrono::steady_clock::time_point)> take_in;
  };

  /// Listens at once. port 0: any that is free. token: empty: none is needed. What is shown
  /// outlives it. Throws std::runtime_error with the remedy: the port is taken.
  PanelServer(const ListenAddress&, const std::string& token, Shows);
  /// Everybody is cut off.
  ~PanelServer();

  const ListenAddress& address() const noexcept;
  /// "http://127.0.0.1:8642/"
  std::string url() const;
  /// Pages that have said hello. Any thread.
  std::size_t watchers() const noexcept;
  /// Has there been any?
  bool ever_watched() const noexcept;

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace stillrotor
