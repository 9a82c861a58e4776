#include "io/hostfw/board.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstring>

namespace stillrotor::io::hostfw {
namespace {

constexpr double longest_s = 1e6;
constexpr std::uint32_t all_channels = (1u << channel_count) - 1;

constexpr std::uint32_t bit(unsigned k) noexcept { return 1u << k; }

}  // namespace

Board::Board(Mailbox& box, Ask ask_bench, void* context) noexcept
    : box_(box), ask_(ask_bench), context_(context) {
  table_ = {
      .version = SR_FIRMWARE_VERSION,
      .self = this,
      .now_ns = [](void* s) { return of(s).box_.moment.now_ps / 1000; },
      .volts = [](void* s, sr_channel c) { return of(s).volts(c); },
      .level =
          [](void* s, sr_line l) {
            const Moment& m = of(s).box_.moment;
            if (static_cast<unsigned>(l) >= line_count) return SR_LOW;
            if (m.released & bit(l)) return SR_RELEASED;
            return m.high & bit(l) ? SR_HIGH : SR_LOW;
          },
      .encoder = [](void* s, sr_encoder* e) { *e = of(s).box_.moment.encoder; },
      .start_pwm = [](void* s, const sr_pwm* p) { of(s).start_pwm(*p); },
      .duty = [](void* s, int leg, double share) { of(s).duty(leg, share); },
      .mode = [](void* s, int leg, sr_leg_mode m) { of(s).mode(leg, m); },
      .drive = [](void* s, sr_line l, sr_level v, double after_s) { of(s).drive(l, v, after_s); },
      .timer = [](void* s, int number, double period_s) { of(s).timer(number, period_s); },
      .watch = [](void* s, sr_line l, int on) { of(s).watch(l, on != 0); },
      .text = [](void* s, const char* text) { of(s).text(text); },
  };
}

void Board::serve(const sr_firmware& firmware) noexcept {
  wrong_ = false;
  switch (box_.call) {
    case Call::reset:
      pwm_ = false;
      firmware.reset(&table_);
      break;
    case Call::valley:
      if (firmware.valley) firmware.valley();
      break;
    case Call::crest:
      if (firmware.crest) firmware.crest();
      break;
    case Call::timer:
      if (firmware.timer) firmware.timer(static_cast<int>(box_.number));
      break;
    case Call::edge:
      if (firmware.edge)
        firmware.edge(static_cast<sr_line>(box_.number), static_cast<sr_level>(box_.level),
                      box_.edge_ns);
      break;
    case Call::read_setting:
      read_setting(firmware);
      break;
    case Call::write_setting:
      write_setting(firmware);
      break;
    case Call::none:
      break;
  }
  box_.answer = wrong_ ? Answer::nonsense : Answer::done;
}

void Board::read_setting(const sr_firmware& firmware) noexcept {
  SettingSlip& slip = box_.setting = {};
  if (box_.number >= static_cast<std::uint32_t>(firmware.setting_count)) return;
  const sr_setting& one = firmware.settings[box_.number];
  std::strncpy(slip.name.data(), one.name, slip.name.size() - 1);
  if (one.unit != nullptr) std::strncpy(slip.unit.data(), one.unit, slip.unit.size() - 1);
  slip.whole = one.type == SR_INT32;
  slip.least = one.least;
  slip.most = one.most;
  switch (one.type) {
    case SR_INT32:
      slip.value = *static_cast<const std::int32_t*>(one.at);
      break;
    case SR_FLOAT:
      slip.value = static_cast<double>(*static_cast<const float*>(one.at));
      break;
    case SR_DOUBLE:
      slip.value = *static_cast<const double*>(one.at);
      break;
  }
}

void Board::write_setting(const sr_firmware& firmware) noexcept {
  if (box_.number >= static_cast<std::uint32_t>(firmware.setting_count)) return;
  const sr_setting& one = firmware.settings[box_.number];
  const double value = box_.setting.value;
  switch (one.type) {
    case SR_INT32:
      *static_cast<std::int32_t*>(one.at) = static_cast<std::int32_t>(value);
      break;
    case SR_FLOAT:
      *static_cast<float*>(one.at) = static_cast<float>(value);
      break;
    case SR_DOUBLE:
      *static_cast<double*>(one.at) = value;
      break;
  }
}

/// The first of an interrupt; all that follows may be its consequence.
void Board::nonsense(const char* format, ...) noexcept {
  if (wrong_) return;
  wrong_ = true;
  std::va_list args;
  va_start(args, format);
  std::vsnprintf(box_.words.data(), box_.words.size(), format, args);
  va_end(args);
}

void Board::ask(Answer what) noexcept {
  box_.answer = what;
  ask_(context_);
}

double Board::volts(unsigned channel) noexcept {
  if (channel >= channel_count) {
    nonsense("it read channel %u; there are 0 to %zu", channel, channel_count - 1);
    return 0.0;
  }
  if ((box_.moment.sampled & bit(channel)) == 0) {
    box_.asked = channel;
    ask(Answer::volts);
  }
  return box_.moment.volts[channel];
}

void Board::start_pwm(const sr_pwm& pwm) noexcept {
  if (!(pwm.frequency_Hz >= 1.0 && pwm.frequency_Hz <= 1e6))
    return nonsense("it started PWM at %g Hz; allowed 1 Hz to 1 MHz", pwm.frequency_Hz);
  const double period_s = 1.0 / pwm.frequency_Hz;
  if (!(pwm.dead_time_s >= 0.0 && pwm.dead_time_s <= 0.1 * period_s))
    return nonsense("it started PWM with a dead time of %g s; allowed 0 to %g s", pwm.dead_time_s,
                    0.1 * period_s);
  if (!(pwm.compute_s >= 0.0 && pwm.compute_s <= period_s))
    return nonsense("it started PWM with compute_s %g; allowed 0 to one period, %g s",
                    pwm.compute_s, period_s);
  if (((pwm.valley_samples | pwm.crest_samples) & ~all_channels) != 0)
    return nonsense("it started PWM with samples of channels that do not exist");
  Orders& orders = box_.orders;
  orders.pwm = pwm;
  orders.pwm_started = 1;
  orders.duties = orders.modes = 0;
  pwm_ = true;
}

void Board::duty(int leg, double share) noexcept {
  if (leg < 0 || leg > 2) return nonsense("it set the duty of leg %d; there are 0, 1, 2", leg);
  if (!std::isfinite(share)) return nonsense("it set the duty of leg %c to %g", "UVW"[leg], share);
  if (!pwm_) return nonsense("it set a duty, and has started no PWM");
  box_.orders.duty[static_cast<std::size_t>(leg)] = std::clamp(share, 0.0, 1.0);
  box_.orders.duties |= bit(static_cast<unsigned>(leg));
}

void Board::mode(int leg, int mode) noexcept {
  if (leg < 0 || leg > 2) return nonsense("it set the mode of leg %d; there are 0, 1, 2", leg);
  if (mode < SR_LEG_OFF || mode > SR_LEG_COMPLEMENTARY)
    return nonsense("it set leg %c to mode %d, which is none", "UVW"[leg], mode);
  if (!pwm_) return nonsense("it set a leg's mode, and has started no PWM");
  box_.orders.mode[static_cast<std::size_t>(leg)] = static_cast<std::uint32_t>(mode);
  box_.orders.modes |= bit(static_cast<unsigned>(leg));
}

void Board::drive(unsigned line, unsigned level, double after_s) noexcept {
  if (line >= line_count || !from_controller(LineId(static_cast<std::uint16_t>(line))))
    return nonsense("it drove line %u, which is not the controller's to drive", line);
  if (level > SR_RELEASED) return nonsense("it drove line %u to level %u", line, level);
  if (!(after_s >= 0.0 && after_s <= longest_s))
    return nonsense("it drove a line %g s from now; allowed 0 to %g s", after_s, longest_s);
  if (pwm_ && line < gate_count)
    return nonsense("it drove gate %u by hand beside the PWM; start none, or use modes", line);
  Orders& orders = box_.orders;
  if (orders.drive_count == orders.drives.size()) ask(Answer::room);
  orders.drives[orders.drive_count++] = {line, level, after_s};
}

void Board::timer(int number, double period_s) noexcept {
  if (number < 0 || number > 7) return nonsense("it set timer %d; there are 0 to 7", number);
  if (!(period_s == 0.0 || (period_s >= 1e-7 && period_s <= longest_s)))
    return nonsense("it set timer %d to %g s; allowed 0, or 100 ns to %g s", number, period_s,
                    longest_s);
  box_.orders.timer_s[static_cast<std::size_t>(number)] = period_s;
  box_.orders.timers |= bit(static_cast<unsigned>(number));
}

void Board::watch(unsigned line, bool on) noexcept {
  if (line >= line_count || from_controller(LineId(static_cast<std::uint16_t>(line))))
    return nonsense("it watches line %u, which the bench does not drive", line);
  box_.orders.watched = on ? box_.orders.watched | bit(line) : box_.orders.watched & ~bit(line);
}

void Board::text(const char* text) noexcept {
  Orders& orders = box_.orders;
  for (std::size_t left = std::strlen(text); left > 0;) {
    if (orders.text_size == orders.text.size()) ask(Answer::room);
    const std::size_t part = std::min(left, orders.text.size() - orders.text_size);
    std::memcpy(orders.text.data() + orders.text_size, text, part);
    orders.text_size += static_cast<std::uint32_t>(part);
    text += part;
    left -= part;
  }
}

}  // namespace stillrotor::io::hostfw
