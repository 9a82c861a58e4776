// A controller under test behind a timing co-processor: gate edges come in over the link, Halls,
// encoder, fault and the converter's channels are the chip's, which computes the fast part of the
// plant. The bench's own plant follows the same edges beside it (docs/real-time.md).
//
// Live   the chip's outputs follow the controller's supply. When they fell safe (a link that broke,
// a
//        chip that was reset), they come back once the link runs again and the bench still goes on;
//        from the fall until then is a gap.
// Broken write() goes on being true: the record stays whole, and what is judged in it is INVALID.
//        It is false once the chip cannot show what it should.
// Errors open() throws ConfigError: nobody answers, or what answers is not fit for this bench.
// RT     as io/wired.hpp says.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>

#include "io/link/config.hpp"
#include "io/link/session.hpp"
#include "io/wired.hpp"

namespace stillrotor::io {

/// Who carries a session's bytes, and by what clock. A thread on sockets, or a test.
class LinkKeeper {
 public:
  virtual ~LinkKeeper() = default;
  /// May throw ConfigError.
  virtual void start(LinkSession&) = 0;
  /// The session's last words are said. Twice does no harm.
  virtual void stop() noexcept = 0;
  /// CLOCK_MONOTONIC, or the test's. RT: safe.
  virtual std::int64_t now_ns() noexcept = 0;
  virtual void wait(std::int64_t ns) = 0;
  virtual std::string last_error() const = 0;
};

/// Throws ConfigError: an address that is none, no settings.
std::unique_ptr<WiredController> make_link(const LinkConfig&);
/// The same, carried by somebody else.
std::unique_ptr<WiredController> make_link(const LinkConfig&, std::unique_ptr<LinkKeeper>);

/// What the chip at that address says of itself; nothing: nobody answers within patience_s.
/// Outputs stay as they are. Throws ConfigError.
std::optional<lf_hello> ask_chip(const LinkConfig&);

}  // namespace stillrotor::io
