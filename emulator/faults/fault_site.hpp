// Where a fault acts: the physics, and the wires between it and the controller.
// Each wire has one LineFault and each analog wire one ChannelFault that all faults share: a fault
// changes its own fields of it and leaves the others.
// RT: safe.
#pragma once

#include <cstdint>
#include <limits>
#include <optional>

#include "io/connector.hpp"
#include "plant/drive.hpp"

namespace stillrotor {

struct Bench;

/// What is wrong with a wire: of a line that the bench drives, from the controller's pin to the
/// source; of a line that the controller drives, from its pin to what it turns on. In this order:
struct LineFault {
  bool open = false;      // broken: the pull of the harness decides
  bool lifeless = false;  // its source has let go: the pull decides
  bool stuck = false;     // tied to stuck_high, no polarity
  bool stuck_high = false;
  bool held = false;  // the source itself stays at held_on, positive logic
  bool held_on = false;
  bool inverted = false;
  bool disturbed = false;                 // inverted for a moment
  std::optional<io::LineId> source = {};  // the other line's source ends here

  friend bool operator==(const LineFault&, const LineFault&) = default;
};

/// What is wrong with a sensor's analog output or its wire. The first of shorted, open and stuck
/// that there is decides; else what the sensor says goes through
///   v = pivot + gain (v_sensor - pivot) + offset + drift (t - since) + noise
/// clipped to low and high and to the sensor's own limits.
struct ChannelFault {
  std::optional<double> shorted_V = {}, open_V = {}, stuck_V = {};
  double gain = 1.0, pivot_V = 0.0;
  double offset_V = 0.0;
  double drift_V_per_s = 0.0;
  std::int64_t since_ps = 0;
  double noise_V = 0.0;  // rms
  double low_V = -std::numeric_limits<double>::infinity();
  double high_V = std::numeric_limits<double>::infinity();
  std::optional<io::ChannelId> source = {};  // the other channel's wire ends at this pin

  friend bool operator==(const ChannelFault&, const ChannelFault&) = default;
};

class FaultSite {
 public:
  virtual std::int64_t now_ps() const noexcept = 0;
  virtual const Bench& bench() const noexcept = 0;
  virtual plant::Drive& plant() noexcept = 0;

  virtual LineFault line(io::LineId) const noexcept = 0;
  virtual void set_line(io::LineId, const LineFault&) noexcept = 0;
  virtual ChannelFault channel(io::ChannelId) const noexcept = 0;
  virtual void set_channel(io::ChannelId, const ChannelFault&) noexcept = 0;
  /// What the controller reads there now [V].
  virtual double pin_V(io::ChannelId) const noexcept = 0;

  /// As the driver has turned it; and what its contact does to the controller's supply.
  virtual bool key_on() const noexcept = 0;
  virtual void set_key_contact(bool closed) noexcept = 0;
  /// At the controller's supply pins where the key's contact is closed.
  virtual void set_controller_supply_V(double) noexcept = 0;

  /// Above 0, up to 1; the same for the same seed, line and number.
  virtual double share(io::LineId, std::int64_t number) const noexcept = 0;

 protected:
  ~FaultSite() = default;
};

}  // namespace stillrotor
