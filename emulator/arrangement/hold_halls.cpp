#include "emulator/arrangement/hold_halls.hpp"

#include <algorithm>
#include <cmath>

namespace stillrotor {
namespace {

constexpr std::int64_t ms_ns = 1'000'000;
constexpr double change_least = 0.005;  // of a gate's share of the time: more than jitter makes

io::LineId line_id(std::size_t k) { return io::LineId{static_cast<std::uint16_t>(k)}; }

}  // namespace

HeldHalls::HeldHalls(HeldLines& lines, const Bench& bench,
                     const std::array<double, io::channel_count>& at_rest,
                     const HoldSettings& settings, std::function<void()> opened)
    : lines_(lines),
      bench_(bench),
      at_rest_(at_rest),
      settings_(settings),
      opened_(std::move(opened)) {}

HallAnswers HeldHalls::all() {
  HallAnswers answers;
  // An unpowered controller is fed by no line and no channel: the others stay released and at 0 V.
  line(io::line::key, false);
  lines_.write();
  lines_.wait(settings_.settle_ns);
  answers.unpowered = look();

  line(io::line::key, true);
  for (const io::LineId id :
       {io::line::brake, io::line::reverse, io::line::speed_limit, io::line::driver_fault,
        io::line::encoder_A, io::line::encoder_B, io::line::encoder_Z, io::line::command_pulse})
    line(id, false);
  for (std::uint16_t k = 0; k < io::channel_count; ++k) lines_.hold(io::ChannelId{k}, at_rest_[k]);
  throttle(0.0);
  const auto codes = hall_codes(bench_.drive.hall.spacing_rad);
  hold_code(codes[0]);
  lines_.wait(settings_.power_up_ns);
  answers.idle = look();

  throttle(settings_.throttle_share);
  lines_.write();
  opened_();
  const std::int64_t give_up_ns = lines_.now_ns() + settings_.open_most_ns;
  while (!answers.drove && lines_.now_ns() < give_up_ns) {
    const GatesSeen seen = look();
    for (std::size_t k = 0; k < io::gate_count; ++k)
      answers.drove = answers.drove || std::abs(seen.on[k] - answers.idle.on[k]) > change_least;
  }
  lines_.wait(settings_.power_up_ns / 2);  // ramps come to their end
  for (const int code : codes) {
    hold_code(code);
    lines_.wait(settings_.settle_ns);
    answers.codes[static_cast<std::size_t>(code)] = look();
  }
  for (const int code : codes_without_position(bench_.drive.hall.spacing_rad)) {
    hold_code(code);
    lines_.wait(settings_.settle_ns);
    answers.codes[static_cast<std::size_t>(code)] = look();
    hold_code(codes[0]);
    lines_.wait(settings_.settle_ns);
  }
  throttle(0.0);
  lines_.write();
  lines_.wait(settings_.settle_ns);
  lines_.release_all();
  for (std::uint16_t k = 0; k < io::channel_count; ++k) lines_.hold(io::ChannelId{k}, 0.0);
  line(io::line::key, false);
  lines_.write();
  return answers;
}

void HeldHalls::line(io::LineId id, bool on) {
  const bool active_high = bench_.harness.lines[io::index(id)].active_high;
  lines_.hold(id, on == active_high ? io::Level::high : io::Level::low);
}

void HeldHalls::throttle(double share) {
  const Controls& controls = bench_.controls;
  lines_.hold(io::channel::throttle, controls.throttle_idle_V + share * (controls.throttle_full_V -
                                                                         controls.throttle_idle_V));
}

void HeldHalls::hold_code(int code) {
  for (int k = 0; k < 3; ++k)
    line(line_id(io::index(io::line::hall_U) + static_cast<std::size_t>(k)), (code >> k & 1) != 0);
  lines_.write();
}

/// From the last edge on, whatever came before the look is only followed.
GatesSeen HeldHalls::look() {
  follow(nullptr, lines_.now_ns());
  const std::int64_t from_ps = seen_ps_;
  lines_.wait(settings_.look_ns);
  // Edges take a while to come in: what is newer than a millisecond may not have.
  GatesSeen seen;
  follow(&seen, lines_.now_ns() - ms_ns);
  const double length = static_cast<double>(std::max<std::int64_t>(seen_ps_ - from_ps, 1));
  for (double& share : seen.on) share /= length;
  for (double& share : seen.both) share /= length;
  return seen;
}

void HeldHalls::follow(GatesSeen* to, std::int64_t until_ns) {
  const auto pass = [&](std::int64_t until_ps) {
    const auto length = static_cast<double>(until_ps - seen_ps_);
    for (std::size_t k = 0; to != nullptr && k < io::gate_count; ++k) {
      if (on_[k]) to->on[k] += length;
      if (on_[k] && on_[k ^ 1U] && k % 2 == 0) to->both[k / 2] += length;
    }
    seen_ps_ = until_ps;
  };
  for (const io::Edge& edge : lines_.take()) {
    if (!io::is_gate(edge.line)) continue;
    pass(std::max(edge.at.count(), seen_ps_));
    const std::size_t k = io::index(edge.line);
    on_[k] = edge.level == io::Level::high;
    if (to != nullptr) ++to->edges[k];
  }
  pass(std::max(1000 * until_ns, seen_ps_));
}

}  // namespace stillrotor
