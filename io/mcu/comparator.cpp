#include "io/mcu/comparator.hpp"

#include <algorithm>

#include "io/mcu/timer.hpp"

namespace stillrotor::io::mcu {
namespace {

constexpr Cycle edge_detector = 2;      // of the input capture, as behind a pin
constexpr Cycle second_clock_edge = 1;  // after the first at or after the crossing
/// A world with nothing to wait for lets the part run for seconds, and the part's next edge makes
/// void what was found beyond it.
constexpr Time asked_at_a_time{50'000'000};

}  // namespace

Comparator::Comparator(const Part& part, Core& core, Interrupts& interrupts, Outside& outside,
                       const AnalogInputs& channels, double hysteresis_V)
    : layout_(part.comparator),
      converter_(part.converter),
      core_(core),
      interrupts_(interrupts),
      outside_(outside),
      channels_(channels),
      hysteresis_V_(hysteresis_V),
      vector_(interrupts.vector(layout_.vector)) {
  core.on_write<&Comparator::write_control>(layout_.control, this);
  core.on_read<&Comparator::read_control>(layout_.control, this);
}

void Comparator::reset() noexcept {
  core_.cancel<&Comparator::on_flip>(this);
  core_.cancel<&Comparator::on_asked_out>(this);
  core_.cancel<&Comparator::on_capture>(this);
  if (timer_ != nullptr) timer_->capture_from_comparator(std::nullopt);
  looked_at_ = above_ = cleared_ = false;
  flip_.reset();
  core_.reg(layout_.control) = 0;
}

bool Comparator::is_on() const noexcept { return !(core_.reg(layout_.control) & bits::ACD); }

bool Comparator::captures() const noexcept { return core_.reg(layout_.control) & bits::ACIC; }

/// Somebody waits for its next change: for the flag, or the timer.
bool Comparator::is_followed() const noexcept {
  return is_on() &&
         (interrupts_.enabled(vector_) || captures() || (cleared_ && !interrupts_.flag(vector_)));
}

Potential Comparator::input(unsigned index) const noexcept { return {channels_[index], 0.0}; }

Comparison Comparator::comparison() const noexcept {
  const bool multiplexed =
      (core_.reg(layout_.multiplexer_enable.at) & layout_.multiplexer_enable.mask) &&
      !(core_.reg(converter_.control) & bits::ADEN);
  const bool reference = core_.reg(layout_.control) & bits::ACBG;
  return {reference ? Potential{std::nullopt, layout_.bandgap_V} : input(ain0),
          input(multiplexed ? core_.reg(converter_.multiplexer) & 7u : ain1), hysteresis_V_};
}

/// The output at this very time.
bool Comparator::compare(Cycle at) noexcept {
  const auto volts = [&](const Potential& p) {
    return p.channel ? outside_.volts(*p.channel, at) : p.volts;
  };
  const Comparison now = comparison();
  const double plus_V = volts(now.plus), minus_V = volts(now.minus);
  const bool flipped = flip_ && *flip_ <= outside_.clock().time(at);
  return now.holds(plus_V, minus_V, above_ != flipped);
}

void Comparator::raise_flag() noexcept {
  constexpr unsigned toggle = 0, falling = 2, rising = 3;
  const unsigned sense = core_.reg(layout_.control) & bits::ACIS;
  if (sense == toggle || (sense == rising && above_) || (sense == falling && !above_))
    interrupts_.raise(vector_);
}

/// A look after a time in which nobody awaited the flag.
void Comparator::settle(Cycle at) noexcept {
  if (!is_on()) return;
  const bool before = above_;
  above_ = compare(at);
  if (looked_at_ && above_ != before) raise_flag();
  looked_at_ = true;
}

std::uint8_t Comparator::read_control(Address address, Cycle at) noexcept {
  bool output = false;
  if (is_followed()) {
    output = compare(at);
  } else if (is_on()) {
    settle(at);
    output = above_;
  }
  const std::uint8_t rest = core_.reg(address) & static_cast<std::uint8_t>(~bits::ACO);
  return static_cast<std::uint8_t>(rest | (output ? bits::ACO : 0));
}

void Comparator::write_control(const Write& write) noexcept {
  using namespace bits;
  const bool clears = write.ones() & ACI, followed_before = is_followed();
  if (!followed_before && (clears || (write.value & (ACIE | ACIC)))) settle(write.at);
  if (clears) {
    interrupts_.clear(vector_);
    cleared_ = true;
  }
  const std::uint8_t before = core_.reg(layout_.control);
  core_.reg(layout_.control) =
      static_cast<std::uint8_t>((write.value & ~(ACO | ACI)) | (before & ACI));
  if (!is_on()) {
    above_ = false;
    looked_at_ = true;
  }
  const Time at = outside_.clock().time(write.at);
  if (!is_followed()) {
    flip_.reset();  // what is on its way, the next look sees
    core_.cancel<&Comparator::on_flip>(this);
    core_.cancel<&Comparator::on_asked_out>(this);
  } else if (!followed_before) {
    known_ = at;
    edges_told_ = outside_.edges_told();
    look();
  } else if ((before ^ write.value) & (ACD | ACBG)) {
    take_back(at);
    look();
  }
  if ((before ^ write.value) & ACIC) {
    core_.cancel<&Comparator::on_capture>(this);
    timer_->capture_from_comparator(captures() ? std::optional(above_) : std::nullopt);
  }
  if (!(before & ACIE)) interrupts_.raise_if_due(vector_);
}

void Comparator::inputs_changed(Cycle at) noexcept {
  if (!is_followed()) return;
  take_back(outside_.clock().time(at));
  look();
}

void Comparator::begin_stretch(Time until) noexcept {
  until_ = until;
  if (!is_followed()) return;
  // What the part drives moves the voltages: what was found beyond that edge no longer holds.
  if (edges_told_ != outside_.edges_told()) take_back(outside_.last_edge());
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
  if (flip_ || !is_followed() || known_ >= until_) return;
  const Time asked = std::min(until_, known_ + asked_at_a_time);
  flip_ = outside_.crossing(comparison(), above_, known_, asked);
  known_ = flip_.value_or(asked);
  const Clock& clock = outside_.clock();
  if (flip_)
    core_.schedule<&Comparator::on_flip>(clock.at_or_after(*flip_) + second_clock_edge, this);
  else if (known_ < until_)
    core_.schedule<&Comparator::on_asked_out>(clock.at_or_after(known_), this);
}

void Comparator::on_capture(Cycle at) noexcept { timer_->comparator_edge(above_, at); }

void Comparator::on_flip(Cycle at) noexcept {
  if (captures())
    core_.schedule<&Comparator::on_capture>(
        std::max(at, outside_.clock().synchronised(*flip_) + edge_detector), this);
  flip_.reset();
  known_ = std::max(known_, outside_.clock().time(at));  // what came between, no clock edge saw
  above_ = !above_;
  raise_flag();
  look();
}

}  // namespace stillrotor::io::mcu
