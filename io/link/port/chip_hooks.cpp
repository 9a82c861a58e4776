#include "io/link/port/chip_hooks.hpp"

#include <algorithm>
#include <array>
#include <utility>

#include "io/link/coprocessor/hooks.h"

namespace stillrotor::io {
namespace {

/// The core's lines at the connector.
constexpr std::array<std::pair<std::uint32_t, LineId>, 10> lines{{{CP_HALL_U, line::hall_U},
                                                                  {CP_HALL_V, line::hall_V},
                                                                  {CP_HALL_W, line::hall_W},
                                                                  {CP_ENCODER_A, line::encoder_A},
                                                                  {CP_ENCODER_B, line::encoder_B},
                                                                  {CP_ENCODER_Z, line::encoder_Z},
                                                                  {CP_FAULT, line::driver_fault},
                                                                  {CP_KEY, line::key},
                                                                  {CP_BRAKE, line::brake},
                                                                  {CP_REVERSE, line::reverse}}};

}  // namespace

thread_local SimulatedChip* ChipHooks::current = nullptr;

std::uint32_t ChipHooks::ticks() noexcept {
  return static_cast<std::uint32_t>(current->ticks_) + current->offset_;
}

bool ChipHooks::next_edge(cp_gate_edge& out) noexcept {
  auto& captured = current->captured_;
  // A controller may have come an instruction further than the counter.
  if (captured.empty() || static_cast<std::int32_t>(ticks() - captured.front().at) < 0)
    return false;
  out = captured.front();
  captured.pop_front();
  return true;
}

std::uint32_t ChipHooks::lost_edges() noexcept { return current->lost_edges_; }

void ChipHooks::move_line(std::uint32_t at, std::uint32_t line, bool high) {
  if (!current->driven_) return;
  const auto* wire =
      std::find_if(lines.begin(), lines.end(), [&](const auto& l) { return l.first == line; });
  if (wire == lines.end()) return;
  const bool inverted = (current->settings_.inverted >> index(wire->second) & 1U) != 0;
  const SimulatedChip::Due due{current->unwrapped(at), wire->second, high != inverted};
  auto& all = current->due_;
  const auto before = [](const auto& a, const auto& b) { return a.tick < b.tick; };
  all.insert(std::upper_bound(all.begin(), all.end(), due, before), due);
}

void ChipHooks::release_lines() {
  current->driven_ = false;
  current->due_.clear();
  for (const auto& [mask, id] : lines) {
    const bool high = (current->settings_.pulled_up >> index(id) & 1U) != 0;
    current->show(id, high ? Level::high : Level::low);
  }
}

void ChipHooks::drive_lines(std::uint32_t levels) {
  current->driven_ = true;
  for (const auto& [mask, id] : lines) {
    const bool inverted = (current->settings_.inverted >> index(id) & 1U) != 0;
    current->show(id, ((levels & mask) != 0) != inverted ? Level::high : Level::low);
  }
}

void ChipHooks::code(std::uint32_t channel, std::uint32_t code) noexcept {
  if (channel >= current->settings_.channels.size()) return;
  const auto& c = current->settings_.channels[channel];
  if (c.at) current->volts_[index(*c.at)] = code * c.volts_per_code;
}

bool ChipHooks::byte_in(std::uint8_t& byte) {
  if (current->in_.empty()) return false;
  byte = current->in_.front();
  current->in_.pop_front();
  return true;
}

bool ChipHooks::byte_out(std::uint8_t byte) {
  if (current->out_.size() >= SimulatedChip::most_waiting) return false;
  current->out_.push_back(byte);
  return true;
}

}  // namespace stillrotor::io

using stillrotor::io::ChipHooks;

std::uint32_t cp_port_ticks() { return ChipHooks::ticks(); }
std::uint32_t cp_port_next_edge(cp_gate_edge* out) { return ChipHooks::next_edge(*out) ? 1 : 0; }
std::uint32_t cp_port_lost_edges() { return ChipHooks::lost_edges(); }
void cp_port_line(std::uint32_t at, std::uint32_t line, std::uint32_t high) {
  ChipHooks::move_line(at, line, high != 0);
}
void cp_port_release_lines() { ChipHooks::release_lines(); }
void cp_port_drive_lines(std::uint32_t levels) { ChipHooks::drive_lines(levels); }
void cp_port_code(std::uint32_t channel, std::uint32_t code) { ChipHooks::code(channel, code); }
std::uint32_t cp_port_byte_in(std::uint8_t* byte) { return ChipHooks::byte_in(*byte) ? 1 : 0; }
std::uint32_t cp_port_byte_out(std::uint8_t byte) { return ChipHooks::byte_out(byte) ? 1 : 0; }
