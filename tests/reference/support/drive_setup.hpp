// Building and moving a plant for a check: what every check would otherwise repeat.
// Units SI; times in picoseconds where the plant counts them.
#pragma once

#include <cstdint>
#include <initializer_list>
#include <vector>

#include "plant/drive.hpp"

namespace stillrotor::reference {

using plant::Switch;

/// Seconds to the plant's integer picoseconds, nearest.
std::int64_t ps(double seconds);

/// A link so large (1e9 F behind 1 ohm, no ESR) that no current of a check moves it: 100 A for
/// 1 s change it by 1e-7 V. Everything else is the default machine and bridge.
plant::DriveParameters stiff_drive();

/// The same with a trapezoidal back-EMF, orders up to max_order.
plant::DriveParameters stiff_trapezoid(double flat_top_deg, int max_order);

/// The back-EMF's harmonics; a sine where the parameters name none.
std::vector<plant::BackEmfHarmonic> shape_of(const plant::PermanentMagnetParameters&);

/// These switches on, all others off; turned off first, so nothing overlaps.
void only_on(plant::Drive&, std::initializer_list<Switch>);

/// A dynamometer at constant electrical speed.
void hold_electrical(plant::Drive&, double omega_e_rad_s);

/// Sets electrical angle and phase currents at this moment, all low switches on, so that any
/// current may flow; the check turns to its own switches afterwards.
void place(plant::Drive&, double theta_e_rad, const plant::AlphaBeta& current_A);

/// Advances through any sensor edges.
void advance_to(plant::Drive&, std::int64_t until_ps, plant::SegmentObserver* = nullptr);
void advance_by(plant::Drive&, double seconds, plant::SegmentObserver* = nullptr);

/// Seconds since start, inside an interval as well.
double seconds(const plant::Continuous&);

}  // namespace stillrotor::reference
