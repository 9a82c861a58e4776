// What bench and firmware hand each other: one call of an interrupt, the moment it sees, and what
// it orders. Lies in memory that both processes map, so it is plain data; the firmware's side may
// have scribbled over it, so the bench believes none of it unchecked.
#pragma once

#include <array>
#include <atomic>
#include <cstdint>

#include "io/connector.hpp"
#include "io/hostfw/stillrotor_firmware.h"

namespace stillrotor::io::hostfw {

enum class Call : std::uint32_t {
  none,
  reset,
  valley,
  crest,
  timer,
  edge,
  read_setting,  // number; beyond the last: no name
  write_setting
};

enum class Answer : std::uint32_t {
  none,
  ready,     // loaded
  unfit,     // it cannot be loaded: words
  done,      // the interrupt has come to its end
  volts,     // it wants a channel: asked; goes on once the moment holds it
  room,      // its orders are full; goes on once they are taken
  nonsense,  // it asked for what cannot be: words
  signal     // it is about to die of one
};

/// What an interrupt sees.
struct Moment {
  std::int64_t now_ps = 0;
  std::uint32_t high = 0, released = 0;  // bit by line
  std::uint32_t sampled = 0;             // bit by channel: volts hold
  std::array<double, channel_count> volts{};
  sr_encoder encoder{};
};

struct DriveOrder {
  std::uint32_t line = 0, level = 0;
  double after_s = 0.0;
};

/// What it wants done at its end. Masks say what was written.
struct Orders {
  std::uint32_t pwm_started = 0;
  sr_pwm pwm{};
  std::uint32_t duties = 0, modes = 0, timers = 0;  // bit by leg, leg, timer
  std::array<double, 3> duty{};
  std::array<std::uint32_t, 3> mode{};
  std::array<double, 8> timer_s{};
  std::uint32_t watched = 0;  // bit by line; keeps from call to call
  std::uint32_t drive_count = 0, text_size = 0;
  std::array<DriveOrder, 32> drives{};
  std::array<char, 2048> text{};

  void clear() noexcept {
    pwm_started = duties = modes = timers = 0;
    drive_count = text_size = 0;
  }
};

/// One of the firmware's settings.
struct SettingSlip {
  std::array<char, 48> name{};
  std::array<char, 16> unit{};
  std::uint32_t whole = 0;
  double least = 0.0, most = 0.0, value = 0.0;
};

struct Mailbox {
  /// 0: the bench's turn, 1: the firmware's. The rest belongs to whose turn it is.
  std::atomic<std::uint32_t> turn{0};
  std::array<std::atomic<std::uint32_t>, 2> sleeps{};  // by side: it waits in the kernel

  Call call = Call::none;
  std::uint32_t number = 0;  // timer, or line
  std::uint32_t level = 0;
  std::int64_t edge_ns = 0;
  Moment moment{};
  SettingSlip setting{};

  Answer answer = Answer::none;
  std::uint32_t asked = 0;  // channel
  Orders orders{};
  std::array<char, 160> words{};

  // Of a signal.
  std::uint32_t signal = 0;
  std::uint64_t address = 0, memory_bytes = 0;
};
static_assert(std::atomic<std::uint32_t>::is_always_lock_free);
static_assert(SR_LINE_COUNT == line_count && SR_CHANNEL_COUNT == channel_count);

}  // namespace stillrotor::io::hostfw
