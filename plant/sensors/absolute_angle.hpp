// Absolute angle sensor: a code of the shaft's angle, as the length of a pulse or as bits that the
// controller clocks out. One line leaves it; time or the controller's clock moves that line.
// Code    floor(2^bits x share of the turn), of the angle less zero, plus eccentricity
//         sin(theta_m - its phase), plus noise; `latency` earlier at the present speed.
// pwm     Each period starts with a rising edge, where the angle is taken. High for start + code
//         clocks out of start + 2^bits + stop clocks a period.
// ssi     Clock idles high. Its first falling edge takes the angle; each rising edge then brings
//         the next bit. After the last bit the line stays low until no clock edge has come for the
//         monoflop time, then idles high. A clock that goes on repeats the frame after a low bit.
// spi     Mode 1: idles low, a rising clock edge brings the next bit, the master takes it at the
//         falling one. Selecting takes the angle; answers_previous: what is sent then is the frame
//         of the selection before. Low while not selected.
// Time    ps. A bit shows data_delay after its clock edge; a clock edge that comes before that
//         overtakes it.
// Source  common practice of such sensors. RT: safe. O(1).
#pragma once

#include <cstdint>
#include <limits>

#include "plant/sensors/angle_frame.hpp"

namespace stillrotor::plant {

enum class AngleOutput : unsigned char { none, pwm, ssi, spi };

struct AbsoluteAngleParameters {
  AngleOutput output = AngleOutput::none;
  int bits = 12;          // 4 to 18; spi: to 14
  double zero_rad = 0.0;  // mechanical angle of code 0
  bool reversed = false;  // the code falls when turning forward
  double eccentricity_rad = 0.0, eccentricity_phase_rad = 0.0;  // mechanical, once a turn
  double noise_rad = 0.0;                                       // rms, mechanical
  double latency_s = 0.0;                                       // age of the angle that is sent
  double data_delay_s = 50e-9;                                  // ssi, spi: clock edge to data
  // pwm
  double pwm_frequency_Hz = 250.0;
  int start_clocks = 16, stop_clocks = 16;  // 1 or more
  // ssi
  SsiFormat ssi;
  double monoflop_s = 20e-6;  // above data_delay
  // spi
  SpiCheck spi_check = SpiCheck::parity;
  bool answers_previous = false;
};

struct AbsoluteAngleState {
  static constexpr std::int64_t never_ps = std::numeric_limits<std::int64_t>::max();
  bool high = false;  // the line
  bool clock = false, selected = false;
  bool error = false;  // the sensor says of itself that it cannot be trusted
  bool stuck = false;  // it sends this code whatever the shaft does
  std::uint32_t stuck_code = 0;
  double bit_error_share = 0.0;  // of the bits clocked out that arrive wrong
  bool next_high = false;
  std::int64_t next_ps = never_ps;  // when time moves the line to next_high
  std::int64_t idle_ps = 0;         // ssi: when the transmission has ended
  std::int64_t period_ps = 0;       // pwm: start of the present period
  AngleFrame frame, following;      // being sent; spi: for the next selection
  int sent = -1;                    // bits shown; -1: none is to be sent
};

class AbsoluteAngle {
 public:
  AbsoluteAngle() = default;
  AbsoluteAngle(const AbsoluteAngleParameters&, std::uint64_t seed);

  /// Where the shaft is; asked for only when the angle is taken.
  struct Shaft {
    double theta_m_rad, omega_m_rad_s;
  };
  std::uint32_t code(const Shaft&, std::int64_t now_ps) const noexcept;

  void start(AbsoluteAngleState&, const Shaft&, std::int64_t now_ps) const noexcept;
  /// The moment next_ps has come: moves the line and finds the next moment.
  void pass(AbsoluteAngleState&, const Shaft&) const noexcept;
  // What the controller does; a change of the line follows by next_ps, never at once.
  void set_clock(AbsoluteAngleState&, bool high, const Shaft&, std::int64_t now_ps) const noexcept;
  void set_selected(AbsoluteAngleState&, bool, const Shaft&, std::int64_t now_ps) const noexcept;

 private:
  std::uint32_t sent_code(const AbsoluteAngleState&, const Shaft&, std::int64_t) const noexcept;
  AngleFrame damaged(const AbsoluteAngleState&, AngleFrame, std::int64_t now_ps) const noexcept;
  AngleFrame spi_answer(const AbsoluteAngleState&, const Shaft&, std::int64_t) const noexcept;
  void show(AbsoluteAngleState&, bool level, std::int64_t at_ps) const noexcept;
  std::int64_t pulse_ps(std::uint32_t code) const noexcept;

  AbsoluteAngleParameters par_;
  std::uint64_t seed_ = 0;
  std::int64_t period_ps_ = 1, delay_ps_ = 0, monoflop_ps_ = 0;
};

}  // namespace stillrotor::plant
