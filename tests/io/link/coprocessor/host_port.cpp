#include "tests/io/link/coprocessor/host_port.hpp"

#include "io/link/coprocessor/hooks.h"

namespace stillrotor::io::coprocessor {

HostPort& port() {
  static HostPort the_port;
  return the_port;
}
HostPort& new_port() { return port() = HostPort{}; }

}  // namespace stillrotor::io::coprocessor

using stillrotor::io::coprocessor::port;

std::uint32_t cp_port_ticks() { return port().now; }
std::uint32_t cp_port_lost_edges() { return port().lost_edges; }
std::uint32_t cp_port_next_edge(cp_gate_edge* out) {
  auto& edges = port().edges;
  if (edges.empty() || static_cast<std::int32_t>(port().now - edges.front().at) < 0) return 0;
  *out = edges.front();
  edges.pop_front();
  return 1;
}
void cp_port_line(std::uint32_t at, std::uint32_t line, std::uint32_t high) {
  if (!port().driven) return;
  port().lines.push_back({at, line, high});
  port().handed_at.push_back(port().now);
}
void cp_port_code(std::uint32_t channel, std::uint32_t code) { port().codes[channel] = code; }
void cp_port_release_lines() {
  port().driven = false;
  ++port().releases;
}
void cp_port_drive_lines(std::uint32_t levels) {
  port().driven = true;
  port().driven_levels = levels;
}
