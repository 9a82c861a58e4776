// Control of the random drives: a mistake in each of what they are drawn with, planted in the
// reference, has to be seen. A per cent of a quantity, or one fault for another.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "tests/reference/cvode/model/draw.hpp"
#include "tests/reference/cvode/model/fuzz.hpp"

namespace stillrotor::reference {
namespace {

struct Mistake {
  const char* in;
  bool (*plant)(Experiment&);  // false: the case has nothing of the kind
};

constexpr double per_cent = 1.01;

/// True if there was something.
bool more(double& quantity) {
  quantity *= per_cent;
  return quantity != 0.0;
}

/// The first change of the kind, if there is one.
Change* first(Experiment& e, Change::Kind kind) {
  const auto at = std::find_if(e.changes.begin(), e.changes.end(),
                               [=](const Change& c) { return c.kind == kind; });
  return at == e.changes.end() ? nullptr : &*at;
}

bool comes_not(Experiment& e, Change::Kind kind) {
  Change* const c = first(e, kind);
  if (c != nullptr) *c = {.at_ps = c->at_ps, .kind = Change::Kind::joint};  // a joint of 0 ohm
  return c != nullptr;
}

bool other_leg(Experiment& e, Change::Kind kind) {
  Change* const c = first(e, kind);
  if (c != nullptr) c->leg = (c->leg + 1) % 3;
  return c != nullptr;
}

bool freewheel_fails(Experiment& e, plant::FreewheelFault instead_of, plant::FreewheelFault with) {
  Change* const c = first(e, Change::Kind::freewheel);
  if (c == nullptr || c->fault != instead_of) return false;
  c->fault = with;
  return true;
}

const Mistake mistakes[] = {
    {"FrictionOfARotorAtRest",
     [](Experiment& e) {
       return e.start_omega_m_rad_s == 0.0 && more(e.parameters.shaft.coulomb_friction_Nm);
     }},
    {"HeldSpeedThatPassesThroughRest",
     [](Experiment& e) {
       const bool turns =
           e.held_acceleration_rad_s2 * e.start_omega_m_rad_s < 0.0 &&
           std::abs(e.held_acceleration_rad_s2) * drawn_s > std::abs(e.start_omega_m_rad_s);
       return turns && more(e.held_acceleration_rad_s2);
     }},
    {"RollingResistance",
     [](Experiment& e) { return more(e.parameters.shaft.rolling_resistance); }},
    {"StaticTorque", [](Experiment& e) { return more(e.parameters.shaft.static_torque_Nm); }},
    {"Slope", [](Experiment& e) { return more(e.road.slope.value); }},
    {"Wind",
     [](Experiment& e) {
       return e.parameters.shaft.drag_area_m2 > 0.0 && more(e.road.wind_m_s.value);
     }},
    {"PedalsRipple",
     [](Experiment& e) {
       return e.road.pedal_Nm.value > 0.0 && more(e.parameters.shaft.pedal_ripple);
     }},
    {"ConstantPower", [](Experiment& e) { return more(e.parameters.shaft.constant_power_W); }},
    {"GearBehindAFreewheel",
     [](Experiment& e) {
       auto& s = e.parameters.shaft;
       return s.coupling == plant::Coupling::freewheel && s.gear_efficiency < 0.99 &&
              more(s.gear_efficiency);
     }},
    {"IronThatSaturates", [](Experiment& e) { return e.iron && more(e.iron->b); }},
    {"IronsFluxOfTheMagnets", [](Experiment& e) { return e.iron && more(e.iron->psi_0); }},
    {"EndOfATurnsShort", [](Experiment& e) { return comes_not(e, Change::Kind::end_turns); }},
    {"EndOfAPhasesShort", [](Experiment& e) { return comes_not(e, Change::Kind::end_phases); }},
    {"GroundedTerminal",
     [](Experiment& e) {
       Change* const c = first(e, Change::Kind::ground);
       return c != nullptr && more(c->ohm);
     }},
    {"OpenSwitch", [](Experiment& e) { return comes_not(e, Change::Kind::switch_open); }},
    {"ShortedSwitch", [](Experiment& e) { return comes_not(e, Change::Kind::switch_shorted); }},
    {"PulseOfAnotherLeg", [](Experiment& e) { return other_leg(e, Change::Kind::pulse); }},
    {"TemperatureOfWindings",
     [](Experiment& e) {
       Change* const c = first(e, Change::Kind::temperatures);
       return c != nullptr && more(c->winding_K);
     }},
    {"TemperatureOfMagnets",
     [](Experiment& e) {
       Change* const c = first(e, Change::Kind::temperatures);
       return c != nullptr && !e.parameters.induction && more(c->rotor_K);
     }},
    {"MagnetsThatLoseFlux", [](Experiment& e) { return comes_not(e, Change::Kind::lose_flux); }},
    {"BatterysCapacity",
     [](Experiment& e) {
       auto& b = e.parameters.supply.battery;
       return b.moves() && b.capacity_C < 10.0 && more(b.capacity_C);
     }},
    {"BatterysBranch",
     [](Experiment& e) {
       auto& b = e.parameters.supply.battery.branch[0];
       return b.time_s < 0.1 && more(b.resistance_ohm);
     }},
    {"BatterysTemperature",
     [](Experiment& e) {
       auto& b = e.parameters.supply.battery;
       return !b.resistance_share.empty() && more(b.temperature_K);
     }},
    {"ContactorThatMoves",
     [](Experiment& e) { return comes_not(e, Change::Kind::contactor_moved); }},
    {"PreCharge",
     [](Experiment& e) {
       return e.parameters.contactor.fitted && more(e.parameters.contactor.pre_charge_ohm);
     }},
    {"BouncingSupply", [](Experiment& e) { return comes_not(e, Change::Kind::bounced); }},
    {"WeakSupply",
     [](Experiment& e) {
       Change* const c = first(e, Change::Kind::weak_supply);
       return c != nullptr && more(c->ohm);
     }},
    {"FreewheelThatSlips",
     [](Experiment& e) {
       return freewheel_fails(e, plant::FreewheelFault::slips, plant::FreewheelFault::none);
     }},
    {"FreewheelThatLocks",
     [](Experiment& e) {
       return freewheel_fails(e, plant::FreewheelFault::locked, plant::FreewheelFault::none);
     }},
};

class PlantAgainstCvodePlanted : public ::testing::TestWithParam<Mistake> {};

TEST_P(PlantAgainstCvodePlanted, IsSeen) {
  const Seen seen = fuzzed_cases_that_see(GetParam().plant, 6);
  EXPECT_GE(seen.tried, 4) << "drawn too seldom";
  EXPECT_GE(4 * seen.by, seen.tried) << seen.by << " of " << seen.tried;
  std::printf("seen by %d of %d\n", seen.by, seen.tried);
}

INSTANTIATE_TEST_SUITE_P(In, PlantAgainstCvodePlanted, ::testing::ValuesIn(mistakes),
                         [](const auto& of) { return of.param.in; });

}  // namespace
}  // namespace stillrotor::reference
