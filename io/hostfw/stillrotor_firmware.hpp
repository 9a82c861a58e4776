// Firmware written as a class: what stillrotor_firmware.h says, in C++17 and without tables.
//
//   class Drive : public stillrotor::Firmware {
//    public:
//     explicit Drive(stillrotor::Board board) : board_(board) { board_.start_pwm({...}); }
//     void valley() override { board_.duty(0, 0.5); }
//    private:
//     stillrotor::Board board_;
//   };
//   STILLROTOR_FIRMWARE(Drive, "my drive")
//
// With settings, of variables that live longer than the object:
//   float gain = 0.016f;
//   const sr_setting settings[] = {{"current_gain", "V/A", SR_FLOAT, &gain, 0.001, 1.0}};
//   STILLROTOR_FIRMWARE(Drive, "my drive", settings)
//
// One object, made at reset. An exception that leaves an interrupt ends the process, and is told.
#pragma once

#include <cstdint>
#include <optional>

#include <stillrotor_firmware.h>

namespace stillrotor {

/// What sr_board offers; copies refer to the same board.
class Board {
 public:
  explicit Board(const sr_board* board) : b_(board) {}

  std::int64_t now_ns() const { return b_->now_ns(b_->self); }
  double volts(sr_channel channel) const { return b_->volts(b_->self, channel); }
  sr_level level(sr_line line) const { return b_->level(b_->self, line); }
  bool high(sr_line line) const { return level(line) == SR_HIGH; }
  sr_encoder encoder() const {
    sr_encoder now{};
    b_->encoder(b_->self, &now);
    return now;
  }

  void start_pwm(const sr_pwm& pwm) const { b_->start_pwm(b_->self, &pwm); }
  void duty(int leg, double share) const { b_->duty(b_->self, leg, share); }
  void mode(int leg, sr_leg_mode mode) const { b_->mode(b_->self, leg, mode); }
  void drive(sr_line line, sr_level level, double after_s = 0.0) const {
    b_->drive(b_->self, line, level, after_s);
  }
  void timer(int number, double period_s) const { b_->timer(b_->self, number, period_s); }
  void watch(sr_line line, bool on = true) const { b_->watch(b_->self, line, on ? 1 : 0); }
  void text(const char* text) const { b_->text(b_->self, text); }

 private:
  const sr_board* b_;
};

class Firmware {
 public:
  virtual ~Firmware() = default;
  virtual void valley() {}
  virtual void crest() {}
  virtual void timer(int /*number*/) {}
  virtual void edge(sr_line, sr_level, std::int64_t /*at_ns*/) {}
};

// Hidden, so that a bench that has it loaded into itself can be rid of it again.
namespace firmware_detail {

template <class Made>
[[gnu::visibility("hidden")]] std::optional<Made>& made() {
  static std::optional<Made> object;
  return object;
}

template <class Made>
[[gnu::visibility("hidden")]] const sr_firmware* table(const char* name, const sr_setting* settings,
                                                       int count) {
  static const sr_firmware all{SR_FIRMWARE_VERSION,
                               name,
                               [](const sr_board* board) { made<Made>().emplace(Board(board)); },
                               [] { made<Made>()->valley(); },
                               [] { made<Made>()->crest(); },
                               [](int number) { made<Made>()->timer(number); },
                               [](sr_line line, sr_level level, std::int64_t at_ns) {
                                 made<Made>()->edge(line, level, at_ns);
                               },
                               settings,
                               count};
  return &all;
}

template <class Made>
[[gnu::visibility("hidden")]] const sr_firmware* table(const char* name) {
  return table<Made>(name, nullptr, 0);
}
template <class Made, int count>
[[gnu::visibility("hidden")]] const sr_firmware* table(const char* name,
                                                       const sr_setting (&settings)[count]) {
  return table<Made>(name, settings, count);
}

}  // namespace firmware_detail
}  // namespace stillrotor

#define STILLROTOR_FIRMWARE(Class, ...)                            \
  const sr_firmware* sr_firmware_table(void) {                     \
    return stillrotor::firmware_detail::table<Class>(__VA_ARGS__); \
  }
