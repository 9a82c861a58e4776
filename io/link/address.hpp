// Where the co-processor is: written as
//   serial:/dev/ttyACM0        115200 baud where that means anything; serial:/dev/ttyS1@921600
//   udp:192.168.7.2:4500       numbers only: no name is looked up
//   tcp:[fe80::1]:4500
//   unix:/run/chip.sock
#pragma once

#include <cstdint>
#include <string>

namespace stillrotor::io {

struct LinkAddress {
  enum class Kind : std::uint8_t { serial, udp, tcp, unix_socket };
  Kind kind = Kind::serial;
  std::string where;        // device, IP address, or path
  std::uint16_t port = 0;   // udp, tcp
  unsigned baud = 115'200;  // serial

  bool operator==(const LinkAddress&) const = default;
};

/// Throws ConfigError (controller.link.address): what is wrong, what is allowed.
LinkAddress parse_link_address(const std::string&);

}  // namespace stillrotor::io
