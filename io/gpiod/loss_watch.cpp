#include "io/gpiod/loss_watch.hpp"

namespace stillrotor::io::gpiod {

std::optional<Loss> LossWatch::next(const RawEdge& edge) noexcept {
  const std::uint32_t dropped = edge.sequence == 0 ? 0 : edge.sequence - sequence_ - 1;
  const bool repeats = edge.active == active_;
  Loss loss{last_ns_, edge.monotonic_ns, dropped, dropped};
  // An odd number of dropped edges turns the direction round by itself.
  const bool merged = repeats != (dropped % 2 != 0);
  if (merged) {
    loss.lost = 0;
    ++loss.at_least;
  }
  last_ns_ = edge.monotonic_ns;
  sequence_ = edge.sequence;
  active_ = edge.active;
  if (loss.at_least == 0) return std::nullopt;
  return loss;
}

}  // namespace stillrotor::io::gpiod
