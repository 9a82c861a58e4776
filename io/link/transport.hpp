// Bytes to and from the co-processor: one connection after the other, on Boost.Asio.
// Threads the link's own; nothing here is for the cycle.
// Errors  none is thrown behind the making: a connection that cannot be had or breaks ends in
//         down(), and open() may be called again.
#pragma once

#include <boost/asio/io_context.hpp>
#include <boost/system/error_code.hpp>
#include <cstdint>
#include <memory>
#include <span>

#include "io/link/address.hpp"

namespace stillrotor::io {

class Transport {
 public:
  /// Called out of io_context::run.
  class Listener {
   public:
    virtual ~Listener() = default;
    virtual void up() = 0;
    /// datagram: bytes begin with a frame.
    virtual void bytes(std::span<const std::uint8_t>, bool datagram) = 0;
    virtual void down(const boost::system::error_code&) = 0;
  };
  virtual ~Transport() = default;
  /// Ends in up() or down(). Not while one is open.
  virtual void open() = 0;
  /// Whole frames; what does not fit behind those that still wait is dropped: false.
  virtual bool write(std::span<const std::uint8_t>) = 0;
  virtual void close() noexcept = 0;
};

std::unique_ptr<Transport> make_transport(const LinkAddress&, boost::asio::io_context&,
                                          Transport::Listener&);

}  // namespace stillrotor::io
