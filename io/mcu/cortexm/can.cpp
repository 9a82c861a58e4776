#include "io/mcu/cortexm/can.hpp"

namespace stillrotor::io::cortexm {
namespace {

enum : Word {
  MCR = 0x00,
  MSR = 0x04,
  TSR = 0x08,
  RF0R = 0x0c,
  RF1R = 0x10,
  IER = 0x14,
  ESR = 0x18,
  BTR = 0x1c,
  first_mailbox = 0x180,
  received = 0x1b0,
  FMR = 0x200
};
constexpr unsigned mailboxes = 3;
// MCR
constexpr Word INRQ = 1, SLEEP = 2, NART = 0x10, RESET = 0x8000;
// MSR
constexpr Word INAK = 1, SLAK = 2, ERRI = 4, recessive = 0xc00;
// TSR, of mailbox 0
constexpr Word RQCP = 1, TERR = 8, ABRQ = 0x80, TME0 = 1u << 26;
// IER
constexpr Word TMEIE = 1, EWGIE = 0x100, EPVIE = 0x200, LECIE = 0x800, ERRIE = 0x8000;
constexpr Word acknowledge_error = 3u << 4, own_error = 7u << 4;
constexpr unsigned warning = 96, passive = 128;

}  // namespace

Can::Can(const CanBlock& block, Core& core, const ClockTree& clocks,
         std::function<void(std::string_view)> undone)
    : block_(block),
      core_(core),
      clocks_(clocks),
      undone_(std::move(undone)),
      frame_event_(core.scheduler().make<&Can::on_unacknowledged>(this)),
      mode_event_(core.scheduler().make<&Can::on_synchronised>(this)) {
  reset(0);
}

void Can::reset(Cycle) noexcept {
  master_ = 0x00010000 | SLEEP;
  transmit_ = 7 * TME0;
  flags_ = enables_ = last_error_ = 0;
  timing_ = 0x01230000;
  normal_ = error_flag_ = false;
  error_count_ = 0;
  sending_ = -1;
  kept_ = {};
  kept_[FMR / 4] = 0x2A1C0E01;
  core_.scheduler().at(frame_event_, never);
  core_.scheduler().at(mode_event_, never);
  tell();
}

/// 32.7.7: one quantum, and the two segments.
Cycle Can::bits(unsigned count) const noexcept {
  const Word quanta = 1 + (timing_ >> 16 & 0xf) + 1 + (timing_ >> 20 & 7) + 1;
  return Cycle{(timing_ & 0x3ff) + 1} * quanta * count * clocks_.bus_divider(false);
}

Word Can::master_status() const noexcept {
  const bool sleeps = master_ & SLEEP;
  return recessive | (error_flag_ ? ERRI : 0) | (sleeps ? SLAK : !normal_ ? INAK : 0);
}

Word Can::errors() const noexcept {
  return error_count_ << 16 | last_error_ | (error_count_ >= warning ? 1 : 0) |
         (error_count_ >= passive ? 2 : 0);
}

void Can::take_mode(Cycle at) noexcept {
  Scheduler& s = core_.scheduler();
  if (master_ & (SLEEP | INRQ)) {
    normal_ = false;
    s.at(mode_event_, never);
    s.at(frame_event_, never);  // what was under way is given up
    sending_ = -1;
  } else if (!normal_) {
    s.at(mode_event_, at + bits(11));
  }
}

void Can::on_synchronised(Cycle at) noexcept {
  normal_ = true;
  if (timing_ >> 30 != 0) undone_("loop-back or silent mode");
  send(at);
}

/// The mailbox of the lowest number first; the part compares identifiers.
void Can::send(Cycle at) noexcept {
  if (!normal_ || sending_ >= 0) return;
  for (unsigned i = 0; i < mailboxes; ++i)
    if (!(transmit_ & TME0 << i)) {
      sending_ = static_cast<int>(i);
      const Word base = first_mailbox / 4 + 4 * i;
      const unsigned identifier = kept_[base] & 4 ? 31 : 11;
      const unsigned data = kept_[base] & 2 ? 0 : 8 * std::min<unsigned>(kept_[base + 1] & 0xf, 8);
      // Start, identifier, three to five bits, length, data, CRC with its end, acknowledge; error
      // flag and its end; pause, and the wait of a passive node.
      const unsigned frame = 1 + identifier + 3 + 4 + data + 16 + 1, error = 6 + 8 + 3;
      core_.scheduler().at(frame_event_,
                           at + bits(frame + error + (error_count_ >= passive ? 8 : 0)));
      return;
    }
}

void Can::complete(unsigned mailbox, Word result) noexcept {
  const unsigned shift = 8 * mailbox;
  transmit_ = (transmit_ & ~(0xffu << shift)) | (RQCP | result) << shift | TME0 << mailbox;
  kept_[first_mailbox / 4 + 4 * mailbox] &= ~1u;  // TXRQ
}

void Can::on_unacknowledged(Cycle at) noexcept {
  error_count_ = std::min(error_count_ + 8, passive);
  last_error_ = acknowledge_error;
  if ((enables_ & ERRIE) && (((enables_ & EWGIE) && error_count_ >= warning) ||
                             ((enables_ & EPVIE) && error_count_ >= passive) || (enables_ & LECIE)))
    error_flag_ = true;
  if (master_ & NART) complete(static_cast<unsigned>(sending_), TERR);
  sending_ = -1;
  send(at);
  tell();
}

void Can::tell() noexcept {
  Exceptions& e = core_.exceptions();
  constexpr Word completed = RQCP | RQCP << 8 | RQCP << 16;
  e.set_line(block_.transmit_interrupt, (enables_ & TMEIE) && (transmit_ & completed));
  e.set_line(block_.change_interrupt, (enables_ & ERRIE) && error_flag_);
}

Word Can::read(Word offset, Cycle) noexcept {
  switch (offset) {
    case MCR:
      return master_;
    case MSR:
      return master_status();
    case TSR:
      return transmit_;
    case IER:
      return enables_;
    case ESR:
      return errors();
    case BTR:
      return timing_;
    default:
      return kept_[offset / 4 % kept_.size()];
  }
}

/// Ones clear what is complete with its result, and ABRQ ends what waits.
void Can::write_transmit_status(Word value, Cycle at) noexcept {
  for (unsigned i = 0; i < mailboxes; ++i) {
    const unsigned shift = 8 * i;
    if (value >> shift & RQCP) transmit_ &= ~(0xfu << shift);
    if ((value >> shift & ABRQ) && !(transmit_ & TME0 << i)) {
      if (sending_ == static_cast<int>(i)) {
        sending_ = -1;
        core_.scheduler().at(frame_event_, never);
      }
      complete(i, 0);
    }
  }
  send(at);
}

void Can::write(Word offset, Word value, Word mask, Cycle at) noexcept {
  const auto merged = [&](Word kept) { return (kept & ~mask) | value; };
  switch (offset) {
    case MCR:
      master_ = merged(master_) & 0x180ff;
      if (master_ & RESET) {
        reset(at);
        return;
      }
      take_mode(at);
      break;
    case MSR:
      if (value & ERRI) error_flag_ = false;
      break;
    case TSR:
      write_transmit_status(value, at);
      break;
    case RF0R:
    case RF1R:
      break;  // nothing has been received
    case IER:
      enables_ = merged(enables_) & 0x38f7f;
      break;
    case ESR:
      last_error_ = merged(last_error_) & own_error;
      break;
    case BTR:
      if (!normal_ && !(master_ & SLEEP)) timing_ = merged(timing_) & 0xc37f03ff;
      break;
    default: {
      if (offset >= received && offset < FMR) break;
      if (offset / 4 >= kept_.size()) break;
      kept_[offset / 4] = merged(kept_[offset / 4]);
      const Word mailbox = (offset - first_mailbox) / 16;
      if (offset >= first_mailbox && offset < received && offset % 16 == 0 && (value & 1)) {
        transmit_ &= ~(TME0 << mailbox | 0xfu << 8 * mailbox);
        send(at);
      }
    }
  }
  tell();
}

}  // namespace stillrotor::io::cortexm
