#include "io/connector.hpp"

#include <algorithm>
#include <array>

namespace stillrotor::io {
namespace {

constexpr std::array<std::string_view, line_count> line_names = {
    "gates.UH",   "gates.UL",      "gates.VH",      "gates.VL",     "gates.WH",
    "gates.WL",   "hall.U",        "hall.V",        "hall.W",       "encoder.A",
    "encoder.B",  "encoder.Z",     "key",           "brake",        "reverse",
    "angle.data", "angle.clock",   "angle.select",  "driver.fault", "driver.enable",
    "contactor",  "brake_chopper", "command_pulse", "speed_limit",  "lamp"};
constexpr std::array<std::string_view, channel_count> channel_names = {
    "throttle",        "phase_current.U",   "phase_current.V",    "phase_current.W", "bus_voltage",
    "dc_link_current", "phase_voltage.U",   "phase_voltage.V",    "phase_voltage.W", "angle.sin",
    "angle.cos",       "temperature.motor", "temperature.bridge", "star_point"};

template <class Id, std::size_t N>
std::optional<Id> find(const std::array<std::string_view, N>& names,
                       std::string_view wanted) noexcept {
  const auto at = std::find(names.begin(), names.end(), wanted);
  if (at == names.end()) return std::nullopt;
  return static_cast<Id>(at - names.begin());
}

}  // namespace

std::string_view name(LineId id) noexcept { return line_names[index(id)]; }
std::string_view name(ChannelId id) noexcept { return channel_names[index(id)]; }

std::optional<LineId> find_line(std::string_view wanted) noexcept {
  return find<LineId>(line_names, wanted);
}
std::optional<ChannelId> find_channel(std::string_view wanted) noexcept {
  return find<ChannelId>(channel_names, wanted);
}

}  // namespace stillrotor::io
