#include "emulator/calibration/held_lines.hpp"

#include <algorithm>
#include <utility>

namespace stillrotor {
namespace {

constexpr std::size_t most_kept = 8'000'000;  // edges; 192 MB

}  // namespace

HeldLines::HeldLines(io::WiredController& controller, CycleClock& clock, std::int64_t kick_ns,
                     const std::atomic<bool>* stop, std::atomic<std::uint64_t>* turns)
    : controller_(controller), clock_(clock), kick_ns_(kick_ns), stop_(stop), turns_(turns) {}

void HeldLines::arm() {
  armed_ns_ = clock_.now_ns();
  controller_.arm(armed_ns_);
  release_all();
  write();
}

void HeldLines::hold(io::LineId line, io::Level level) noexcept {
  const std::uint32_t bit = 1U << io::index(line);
  outputs_.released =
      level == io::Level::released ? outputs_.released | bit : outputs_.released & ~bit;
  outputs_.high = level == io::Level::high ? outputs_.high | bit : outputs_.high & ~bit;
}

HeldLines::Write HeldLines::write() {
  Write call;
  call.called_ns = now_ns();
  const bool follows = controller_.write(outputs_);
  call.returned_ns = now_ns();
  if (!follows)
    throw std::runtime_error(
        "The wires do not follow: a line could not be written; outputs safe. Is the chip still "
        "there? The kernel's log (dmesg) may say more.");
  return call;
}

void HeldLines::turn() {
  if (turns_ != nullptr) turns_->fetch_add(1, std::memory_order_relaxed);
  fetch();
  if (now_ns() - kicked_ns_ < kick_ns_) return;
  if (stop_ != nullptr && stop_->load(std::memory_order_relaxed)) throw Interrupted();
  if (controller_.bench_inputs().stop_circuit == io::Sensed::off)
    throw std::runtime_error(
        "The emergency stop's circuit opened; outputs safe, nothing finished.");
  kicked_ns_ = now_ns();
  outputs_.kick = !outputs_.kick;
  write();
}

void HeldLines::wait_until(std::int64_t ns) {
  for (turn(); now_ns() < ns; turn())
    clock_.sleep_until(armed_ns_ + std::min(ns, kicked_ns_ + kick_ns_));
}

void HeldLines::fetch() {
  do {
    batch_->clear();
    controller_.read(*batch_);
    if (came_.size() + batch_->edge_count > most_kept)
      throw std::runtime_error(
          "Millions of edges come in where none are expected; outputs safe. Look at the lines with "
          "an oscilloscope.");
    came_.insert(came_.end(), batch_->edges.begin(),
                 batch_->edges.begin() + static_cast<std::ptrdiff_t>(batch_->edge_count));
  } while (batch_->edge_count > io::EdgeBatch::most_edges / 2);
}

std::vector<io::Edge> HeldLines::take() {
  fetch();
  return std::exchange(came_, {});
}

}  // namespace stillrotor
