// The thread that keeps the link: bytes between transport and session, every millisecond what is
// due, a connection that broke made anew.
//
// Threads start(), stop() by who sets up. What the cycle does, it does with the session.
// Reconnects after a quarter of a second, for ever; a connection that does not come up within a
// second
//         is given up.
#pragma once

#include <memory>
#include <string>

#include "io/capture_thread.hpp"
#include "io/link/address.hpp"
#include "io/link/session.hpp"

namespace stillrotor::io {

class LinkStream {
 public:
  LinkStream(const LinkAddress&, LinkSession&);
  ~LinkStream();
  LinkStream(const LinkStream&) = delete;
  LinkStream& operator=(const LinkStream&) = delete;

  /// Throws ConfigError where core or priority cannot be had. What it connects to need not be
  /// there.
  void start(const CaptureThread&);
  /// Twice does no harm.
  void stop() noexcept;
  /// Why the last connection ended or did not come; empty: none did. Any thread but the cycle's.
  std::string last_error() const;

 private:
  class Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace stillrotor::io
