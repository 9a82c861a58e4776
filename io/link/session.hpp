// Linux' end of the link: bytes in become gate edges, reports and a clock; what the cycle wants
// becomes bytes out. No socket, no thread, no clock of its own: time is what the caller says it is,
// so tests run it in virtual time. docs/link-format.md has the rules.
//
// Loss    every stretch in which gate edges, reports or the chip's own counts have suffered is told
//         as a gap of all six gates: by numbers of edges and frames, by the chip's counts, by
//         silence above silent_ns, by a chip that was reset.
// Safe    the chip's outputs go live by want_live() only. When they fell safe for any reason, they
//         stay safe until it is called again; called while the link does not run, it does nothing.
//         A sign of life goes out for each new Ahead, never by
//         itself: a cycle that hangs falls silent.
// Threads take(), due() and all that is not said otherwise: the link's thread. ahead(),
// want_live(),
//         next_report(), status(): one other, the cycle's. make_safe(): any.
// RT      no allocation after construction; ahead(), want_live(), next_report(), make_safe(),
//         status() are safe: no lock, log, throw or system call.
#pragma once

#include <array>
#include <atomic>
#include <boost/lockfree/spsc_queue.hpp>
#include <cstdint>
#include <span>

#include "io/analog/latest_value.hpp"
#include "io/captured_edges.hpp"
#include "io/link/clock.hpp"
#include "io/link/far_plant.hpp"
#include "io/link/frames/frame.h"
#include "io/link/frames/payload.h"
#include "io/link/settings.hpp"
#include "io/link/status.hpp"

namespace stillrotor::io {

/// What the chip shows as it is told, beside what it computes.
struct ToldOutputs {
  std::uint32_t lines = 0;     // CP_KEY | CP_BRAKE | CP_REVERSE, those that are high
  std::uint32_t channels = 0;  // that are told, by bit
  std::array<std::int32_t, CP_CHANNELS> codes{};  // coprocessor::told_code()

  bool operator==(const ToldOutputs&) const = default;
};

class LinkSession {
 public:
  /// Takes whole frames for the wire; false: no room, and they are gone.
  class Wire {
   public:
    virtual ~Wire() = default;
    virtual bool send(std::span<const std::uint8_t> frame) = 0;
  };

  LinkSession(const LinkSettings&, CapturedEdges&);

  // The link's thread.
  /// A new connection, with a session number that the last one did not have.
  void connected(std::uint16_t session, std::int64_t now_ns);
  void disconnected();
  /// A datagram begins, or bytes are known to be missing.
  void cut();
  void take(std::span<const std::uint8_t>, std::int64_t now_ns);
  /// What is due by now goes out; to be called every millisecond or two.
  void due(std::int64_t now_ns, Wire&);

  // The cycle's thread.
  void ahead(const Ahead& a) noexcept { ahead_.put(a); }
  /// Goes out with the next Ahead, and again now and then.
  void tell(const ToldOutputs& t) noexcept { told_.put(t); }
  void want_live() noexcept {
    rest_.store(false, std::memory_order_relaxed);
    live_orders_.fetch_add(1, std::memory_order_release);
  }
  /// Outputs safe until want_live(): the controller has no supply.
  void rest() noexcept { rest_.store(true, std::memory_order_relaxed); }
  bool next_report(LinkReport& out) noexcept { return reports_.pop(out); }
  /// As of the last due().
  const LinkStatus& status() noexcept {
    shown_.look();
    return shown_.value();
  }

  // Any thread.
  void make_safe() noexcept { safe_.store(true, std::memory_order_relaxed); }

 private:
  static constexpr std::int64_t never = INT64_MIN / 2;
  void take_frame(const lf_frame&, std::int64_t now_ns);
  bool next_in_order(const lf_frame&, std::int64_t now_ns);
  bool take_hello(lf_walk);
  bool take_beat(lf_walk, const lf_frame&, std::int64_t now_ns);
  bool take_report(lf_walk, std::int64_t now_ns);
  bool take_edges(lf_walk, std::int64_t now_ns);
  bool take_refusal(lf_walk);
  void chip_was_reset();
  void gates_are(std::uint32_t gates, std::int64_t at_ns);
  void gap(std::int64_t from_ns, std::int64_t to_ns, std::uint32_t lost);
  void break_off();
  void mend(std::int64_t now_ns);
  void note_safety(std::uint32_t safe, std::int64_t at_ns);
  void hand_over(const cp_report&, std::int64_t at_ns, std::int64_t now_ns);

  lf_walk begin(lf_kind);
  void send(const lf_walk&, std::int64_t now_ns, Wire&);
  void send_command(cp_command, std::int64_t now_ns, Wire&);
  void send_parameters(std::int64_t now_ns, Wire&);
  void send_ahead(std::int64_t now_ns, Wire&);
  void send_told(std::int64_t now_ns, Wire&);
  std::uint32_t on_grid(std::int64_t at_ns) const;
  bool running() const noexcept { return in_force_ && clock_.runs(); }

  LinkSettings settings_;
  CapturedEdges& edges_;
  std::array<std::uint8_t, LF_PARAMETER_BYTES> block_{};
  std::uint32_t block_crc_ = 0;

  // The link's thread only.
  lf_parser parser_{};
  lf_frame in_{}, out_{};
  bool connected_ = false, linked_ = false, in_force_ = false, unfit_ = false;
  std::uint16_t session_ = 0;
  std::uint32_t sequence_ = 0;
  std::uint32_t chip_session_ = ~0U, chip_sequence_ = 0;
  LinkClock clock_;
  std::int64_t heard_ns_ = 0;     // last frame of the chip
  std::int64_t answered_ns_ = 0;  // last answer to a heartbeat
  bool blind_ = true;             // nothing is sure since blind_ns_
  std::int64_t blind_ns_ = 0;
  std::int64_t known_ns_ = 0;  // up to here all gate edges are known
  std::uint32_t next_edge_ = 0, gates_ = 0;
  bool edges_known_ = false;
  cp_report report_{};  // the last one
  bool report_known_ = false;
  std::int64_t report_ns_ = 0;
  std::uint32_t orders_done_ = 0;  // to go live
  bool wants_live_ = false, live_ = false, safe_sent_ = false;
  ToldOutputs sent_;  // of told_, as far as it has been sent
  unsigned next_told_ = 0;
  std::int64_t lines_ns_ = never;
  std::array<std::int64_t, CP_CHANNELS> codes_ns_{};  // when they were sent
  bool beat_out_ = false;
  std::uint32_t beat_sequence_ = 0;
  // When these were sent last.
  std::int64_t hello_ns_ = never, beat_ns_ = never, parameters_ns_ = never, order_ns_ = never,
               heat_ns_ = never;
  LinkStatus status_;

  // Between threads.
  LatestValue<Ahead> ahead_;
  LatestValue<ToldOutputs> told_;
  boost::lockfree::spsc_queue<LinkReport, boost::lockfree::capacity<256>> reports_;
  std::atomic<std::uint32_t> live_orders_{0};
  std::atomic<bool> safe_{false}, rest_{false};
  LatestValue<LinkStatus> shown_;
};

}  // namespace stillrotor::io
