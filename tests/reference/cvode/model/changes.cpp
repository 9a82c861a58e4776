#include "tests/reference/cvode/model/changes.hpp"

namespace stillrotor::reference {

void make(const Change& c, plant::Drive& drive) {
  const auto leg = static_cast<plant::Leg>(c.leg);
  switch (c.kind) {
    case Change::Kind::cut:
      drive.set_phase_open(leg, true);
      break;
    case Change::Kind::part_supply:
      drive.set_supply_interrupted(c.on);
      break;
    case Change::Kind::bounce_supply:
      drive.bounce_supply(c.open_s, c.seconds, c.times);
      break;
    case Change::Kind::contactor:
      drive.set_contactor(c.on);
      break;
    case Change::Kind::weak_supply:
      drive.set_supply_more_ohm(c.ohm);
      break;
    case Change::Kind::bounced:
    case Change::Kind::contactor_moved:
      break;
    case Change::Kind::chopper:
      drive.set_chopper(c.on);
      break;
    case Change::Kind::joint:
      drive.set_joint_ohm(leg, c.ohm);
      break;
    case Change::Kind::short_turns:
      drive.short_turns(leg, c.share, c.ohm);
      break;
    case Change::Kind::short_phases:
      drive.short_phases(leg, c.ohm, c.henry);
      break;
    case Change::Kind::temperatures:
      drive.set_machine_temperatures(c.winding_K, c.rotor_K);
      break;
    case Change::Kind::lose_flux:
      drive.demagnetise(c.share);
      break;
    case Change::Kind::end_turns:
      drive.end_short(plant::ShortPlace::turns);
      break;
    case Change::Kind::end_phases:
      drive.end_short(plant::ShortPlace::phases);
      break;
    case Change::Kind::ground:
      if (c.on)
        drive.ground_phase(leg, c.ohm);
      else
        drive.end_ground();
      break;
    case Change::Kind::switch_open:
      drive.set_switch_open(c.which, c.on);
      break;
    case Change::Kind::switch_shorted:
      drive.set_switch_shorted(c.which, c.on);
      break;
    case Change::Kind::pulse:
      if (c.on) drive.short_leg(leg, c.seconds);  // and ends it by itself
      break;
    case Change::Kind::freewheel:
      drive.set_freewheel(c.fault);
      break;
  }
}

void make(const Change& c, CvodeRun& reference) {
  const auto at = static_cast<std::size_t>(c.leg);
  AbcInputs& in = reference.inputs();
  SwitchFaults faults = reference.faults();
  switch (c.kind) {
    case Change::Kind::cut:
      reference.cut(at);
      break;
    case Change::Kind::part_supply:
      in.path.parted = c.on;
      break;
    case Change::Kind::bounced:
      in.path.bounced = c.on;
      break;
    case Change::Kind::contactor_moved:
      in.path.contactor_open = !c.on;
      break;
    case Change::Kind::weak_supply:
      in.path.more_ohm = c.ohm;
      break;
    case Change::Kind::bounce_supply:
    case Change::Kind::contactor:
      break;
    case Change::Kind::chopper:
      in.chopper_gate = c.on;
      break;
    case Change::Kind::joint:
      in.joint_ohm[at] = c.ohm;
      break;
    case Change::Kind::short_turns:
      reference.short_turns(at, c.share, c.ohm);
      break;
    case Change::Kind::short_phases:
      in.phases_short = {true, at, c.ohm, c.henry};
      break;
    case Change::Kind::temperatures:
      reference.change_machine({c.winding_K, c.rotor_K, in.machine.magnets_left});
      break;
    case Change::Kind::lose_flux: {
      MachineState to = in.machine;
      to.magnets_left *= 1.0 - c.share;
      reference.change_machine(to);
      break;
    }
    case Change::Kind::end_turns:
    case Change::Kind::end_phases:
      reference.end_short(c.kind == Change::Kind::end_turns);
      break;
    case Change::Kind::ground:
      reference.set_ground({c.on, at, c.ohm});
      break;
    case Change::Kind::switch_open:
      faults.open[static_cast<std::size_t>(c.which)] = c.on;
      reference.set_faults(faults);
      break;
    case Change::Kind::switch_shorted:
      faults.shorted[static_cast<std::size_t>(c.which)] = c.on;
      reference.set_faults(faults);
      break;
    case Change::Kind::pulse:
      faults.pulse[at] = c.on;
      reference.set_faults(faults);
      break;
    case Change::Kind::freewheel:
      reference.set_freewheel(c.fault);
      break;
  }
}

}  // namespace stillrotor::reference
