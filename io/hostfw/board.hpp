// The firmware's side of the mailbox: the board whose functions firmware calls. The same in a
// process of its own and in the bench's.
#pragma once

#include <cstdarg>

#include "io/hostfw/mailbox.hpp"

namespace stillrotor::io::hostfw {

class Board {
 public:
  /// The firmware waits in the middle of its interrupt: the bench has to answer.
  using Ask = void (*)(void* context) noexcept;

  /// box and context outlive it.
  Board(Mailbox& box, Ask ask_bench, void* context) noexcept;
  Board(const Board&) = delete;
  Board& operator=(const Board&) = delete;

  /// The call that lies in the mailbox, to its end.
  void serve(const sr_firmware&) noexcept;

 private:
  static Board& of(void* self) noexcept { return *static_cast<Board*>(self); }
  [[gnu::format(printf, 2, 3)]] void nonsense(const char* format, ...) noexcept;
  void ask(Answer) noexcept;
  void read_setting(const sr_firmware&) noexcept;
  void write_setting(const sr_firmware&) noexcept;
  double volts(unsigned channel) noexcept;
  void start_pwm(const sr_pwm&) noexcept;
  void duty(int leg, double share) noexcept;
  void mode(int leg, int mode) noexcept;
  void drive(unsigned line, unsigned level, double after_s) noexcept;
  void timer(int number, double period_s) noexcept;
  void watch(unsigned line, bool on) noexcept;
  void text(const char*) noexcept;

  Mailbox& box_;
  Ask ask_;
  void* context_;
  sr_board table_;
  bool pwm_ = false;
  bool wrong_ = false;
};

}  // namespace stillrotor::io::hostfw
