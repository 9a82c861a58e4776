// The wire of a co-processor that is a program: it listens where io/link/address says, on this
// computer's side of that address.
//   unix, tcp  listens, one connection at a time; the next one when that has ended
//   udp        bound to the address; answers whoever sent last
//   serial     the device, raw
// Bytes that find nobody, or no room, are gone, as at a UART. One thread. Errors ConfigError in
// listen_at(); nothing else throws.
#pragma once

#include <cstdint>
#include <memory>
#include <span>
#include <vector>

#include "io/link/address.hpp"

namespace stillrotor::io {

class ChipWire {
 public:
  virtual ~ChipWire() = default;
  /// Until something comes in, at most so long.
  virtual void wait(int ms) noexcept = 0;
  /// What has come in; true where it begins anew: a datagram, a new connection.
  virtual bool receive(std::vector<std::uint8_t>& bytes) = 0;
  /// Whole frames.
  virtual void send(std::span<const std::uint8_t>) noexcept = 0;
};

std::unique_ptr<ChipWire> listen_at(const LinkAddress&);

}  // namespace stillrotor::io
