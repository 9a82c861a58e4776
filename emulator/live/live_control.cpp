#include "emulator/live/live_control.hpp"

#include <algorithm>
#include <utility>

namespace stillrotor {
namespace {

constexpr std::int64_t grid_ps = 1'000'000'000;           // 1 ms
constexpr std::int64_t most_margin_ps = 1'000 * grid_ps;  // 1 s

}  // namespace

bool LiveControl::pause() noexcept {
  if (can_pause_) hold_.store(true, std::memory_order_release);
  return can_pause_;
}

bool LiveControl::step(std::int64_t by_ps) noexcept {
  if (phase() != LivePhase::paused) return false;
  step_ps_.fetch_add(by_ps, std::memory_order_release);
  return true;
}

std::int64_t LiveControl::earliest_ps() const noexcept {
  // A loop that stands still needs none.
  const bool moves = phase() == LivePhase::running;
  const std::int64_t from_ps = bound_ps_.load(std::memory_order_relaxed) + (moves ? margin_ps_ : 0);
  return std::max((from_ps + grid_ps - 1) / grid_ps * grid_ps, last_ps_);
}

bool LiveControl::offer(std::unique_ptr<const Action> action) {
  if (offered() != nullptr) return false;
  last_ps_ = action->at_ps;
  given_.push_back(std::move(action));
  answer_.store(Answer::none, std::memory_order_relaxed);
  offered_.store(given_.back().get(), std::memory_order_release);
  return true;
}

LiveControl::Answer LiveControl::answer() noexcept {
  if (offered() != nullptr) return Answer::none;
  const Answer answer = answer_.exchange(Answer::none, std::memory_order_acquire);
  if (answer == Answer::late) margin_ps_ = std::min(2 * margin_ps_, most_margin_ps);
  return answer;
}

void LiveControl::answer(Answer answer) noexcept {
  answer_.store(answer, std::memory_order_relaxed);
  offered_.store(nullptr, std::memory_order_release);
}

}  // namespace stillrotor
