#include "io/mcu/comparator.hpp"

#include <fmt/core.h>

#include <algorithm>

namespace stillrotor::io::mcu {
namespace {

constexpr double bandgap_V = 1.1;
constexpr Cycle second_clock_edge = 1;  // after the first at or after the crossing

}  // namespace

Comparator::Comparator(Core& core, Interrupts& interrupts, Outside& outside,
                       const AnalogInputs& channels)
    : core_(core),
      interrupts_(interrupts),
      outside_(outside),
      channels_(channels),
      vector_(interrupts.vector(vect::ANALOG_COMP)) {
  core.on_write<&Comparator::write_control>(reg::ACSR, this);
  core.on_read<&Comparator::read_control>(reg::ACSR, this);
}

void Comparator::reset(Cycle at) noexcept {
  core_.cancel<&Comparator::on_flip>(this);
  followed_ = above_ = false;
  flip_.reset();
  known_ = outside_.clock().time(at);
  core_.reg(reg::ACSR) = 0;
}

bool Comparator::is_on() const noexcept { return !(core_.reg(reg::ACSR) & bits::ACD); }

Potential Comparator::input(unsigned index) const noexcept { return {channels_[index], 0.0}; }

Comparison Comparator::comparison() const noexcept {
  const bool multiplexed =
      (core_.reg(reg::ADCSRB) & bits::ACME) && !(core_.reg(reg::ADCSRA) & bits::ADEN);
  const bool reference = core_.reg(reg::ACSR) & bits::ACBG;
  return {reference ? Potential{std::nullopt, bandgap_V} : input(ain0),
          input(multiplexed ? core_.reg(reg::ADMUX) & 7u : ain1)};
}

void Comparator::begin_stretch(Time until) noexcept {
  until_ = until;
  if (!followed_) return;
  // What the part drives moves the voltages: what was found beyond that edge no longer holds.
  if (edges_told_ != outside_.edges_told()) take_back(outside_.last_edge());
  look();
}

void Comparator::inputs_changed(Cycle at) noexcept {
  if (!followed_) return;
  take_back(outside_.clock().time(at));
  look();
}

void Comparator::take_back(Time to) noexcept {
  edges_told_ = outside_.edges_told();
  known_ = std::min(known_, to);
  if (!flip_ || *flip_ <= to) return;
  flip_.reset();
  core_.cancel<&Comparator::on_flip>(this);
}

/// To the next crossing of this stretch, once the one before has come through.
void Comparator::look() noexcept {
  if (flip_ || !is_on()) return;
  flip_ = outside_.crossing(comparison(), above_, known_, until_);
  known_ = flip_.value_or(std::max(known_, until_));
  if (flip_)
    core_.schedule<&Comparator::on_flip>(outside_.clock().at_or_after(*flip_) + second_clock_edge,
                                         this);
}

void Comparator::on_flip(Cycle at) noexcept {
  flip_.reset();
  known_ = std::max(known_, outside_.clock().time(at));  // what came between, no clock edge saw
  above_ = !above_;
  const unsigned sense = core_.reg(reg::ACSR) & bits::ACIS;
  constexpr unsigned toggle = 0, falling = 2, rising = 3;
  if (sense == toggle || (sense == rising && above_) || (sense == falling && !above_))
    interrupts_.raise(vector_);
  look();
}

/// The firmware's first look: the output has long settled, without a flag.
void Comparator::follow(Cycle at) noexcept {
  if (followed_) return;
  followed_ = true;
  known_ = outside_.clock().time(at);
  edges_told_ = outside_.edges_told();
  above_ = is_on() && outside_.crossing(comparison(), false, known_, known_).has_value();
  look();
}

void Comparator::write_control(const Write& write) noexcept {
  using namespace bits;
  if (write.value & ACIC)
    core_.fail(
        fmt::format("The firmware leads the analog comparator to the input capture, which "
                    "is not modelled, {}.",
                    core_.where()));
  if (write.ones() & ACI) interrupts_.clear(vector_);
  const std::uint8_t before = core_.reg(reg::ACSR);
  core_.reg(reg::ACSR) =
      static_cast<std::uint8_t>((write.value & ~(ACO | ACI)) | (core_.reg(reg::ACSR) & ACI));
  if (write.value & ACIE) follow(write.at);
  if (!followed_) return;
  if ((before ^ write.value) & (ACD | ACBG)) {
    take_back(outside_.clock().time(write.at));
    if (!is_on()) above_ = false;
    look();
  }
  if (!(before & ACIE)) interrupts_.raise_if_due(vector_);
}

std::uint8_t Comparator::read_control(Address address, Cycle at) noexcept {
  follow(at);
  const std::uint8_t rest = core_.reg(address) & static_cast<std::uint8_t>(~bits::ACO);
  return static_cast<std::uint8_t>(rest | (above_ ? bits::ACO : 0));
}

}  // namespace stillrotor::io::mcu
