#include "emulator/cli/stop_signals.hpp"

#include <csignal>

namespace stillrotor {
namespace {

std::atomic<bool> stop_asked{false};
std::atomic<int> stop_signal{0};
static_assert(std::atomic<bool>::is_always_lock_free && std::atomic<int>::is_always_lock_free);

void on_signal(int which) {
  stop_signal = which;
  stop_asked = true;
}

void handle(int which, void (*handler)(int), int flags) noexcept {
  struct sigaction action {};
  action.sa_handler = handler;
  action.sa_flags = flags;
  sigaction(which, &action, nullptr);
}

}  // namespace

StopSignals::StopSignals() {
  stop_asked = false;
  stop_signal = 0;
  for (const int which : {SIGINT, SIGTERM})
    handle(which, on_signal, static_cast<int>(SA_RESETHAND) | SA_RESTART);
}

StopSignals::~StopSignals() {
  for (const int which : {SIGINT, SIGTERM}) handle(which, SIG_DFL, 0);
}

const std::atomic<bool>& StopSignals::asked() const noexcept { return stop_asked; }
int StopSignals::exit_status() const noexcept { return stop_signal == 0 ? 0 : 128 + stop_signal; }

}  // namespace stillrotor
