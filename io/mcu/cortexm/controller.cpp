#include "io/mcu/cortexm/controller.hpp"

#include <fmt/core.h>

#include <algorithm>
#include <vector>

#include "io/mcu/cortexm/board/board.hpp"
#include "io/mcu/cortexm/board/eeprom.hpp"
#include "io/mcu/cortexm/board/gate_driver.hpp"
#include "io/mcu/cortexm/debug_view.hpp"
#include "io/mcu/cortexm/stored_settings.hpp"
#include "io/mcu/cortexm/wiring.hpp"
#include "io/mcu/debugger/debuggable.hpp"
#include "io/mcu/watch.hpp"

namespace stillrotor::io {
namespace {

using namespace cortexm;

constexpr double off_V = 1.8;             // supply's lower end (datasheet, from memory)
constexpr double highest_board_V = 30.0;  // what the bench can give

class CortexController final : public SimulatedController,
                               public Doubter,
                               public mcu::Watchable,
                               public mcu::Debuggable,
                               public mcu::CountsWork,
                               ChipOutside {
 public:
  CortexController(const ChipPart& part, Program program, std::vector<Setting> settings,
                   const McuConfig& config, const Wires& wires)
      : part_(part),
        program_(std::move(program)),
        settings_(std::move(settings)),
        config_(config),
        wires_(wires) {
    driven_.fill(Level::released);
    at_gates_.fill(Level::released);
    // They outlast the chip's lives: an EEPROM keeps what it holds.
    if (config_.partners.eeprom.fitted())
      board_.add(eeprom_.emplace(config_.partners.eeprom), wires_.eeprom);
    if (config_.partners.gate_driver.fitted())
      board_.add(gate_driver_.emplace(), wires_.gate_driver);
    for (std::size_t port = 0; port < pins_.size(); ++port)
      for (std::size_t number = 0; number < pins_[port].size(); ++number) {
        const auto line = wires_.at[port][number];
        Pin& pin = pins_[port][number];
        pin.on_board =
            board_.holds({static_cast<std::uint8_t>(port), static_cast<std::uint8_t>(number)});
        pin.is_output = line && from_controller(*line);
        if (pin.is_output) pin.line = *line;
      }
  }

  void power(double volts, Time at, World& world) override {
    if (!(volts >= 0.0 && volts <= highest_board_V))
      throw ConfigError("controller.supply", fmt::format("supply is {} V; allowed 0 V to {} V.",
                                                         volts, highest_board_V));
    const bool is_new = world_ != &world;
    world_ = &world;
    supply_V_ = std::min(volts, config_.reference_V);
    const bool on = supply_V_ >= std::max(off_V, brown_out_V());
    const Time when = std::max(at, contact_);
    if (on != (chip_ != nullptr)) on ? start(when) : stop(when);
    if (is_new)
      for (std::size_t i = 0; i < line_count; ++i)
        if (wires_.lines[i] && from_controller(line_id(i)))
          waiting_.push_back({when, line_id(i), driven_[i]});
    tell(Time::max());
    listen();
  }

  Time run(Time horizon) noexcept override {
    const std::uint64_t told_before = told_;
    if (chip_ != nullptr && none_waits()) {
      horizon_ = horizon;
      const Time until = horizon - began_;
      // Once at least: it may be ahead of the horizon, and have an edge left before it.
      do {
        chip_->run(watched_ != nullptr ? std::min(until, watched_->next() - began_) : until);
        if (watched_ != nullptr) read_variables();
      } while (none_waits() && told_ == told_before && chip_->core().can_go_on() &&
               chip_->now() < until);
      horizon_ = Time::min();
      if (chip_->listeners() != listeners_) listen();
      if (!chip_->core().can_go_on() && health_ == Health::running) {
        health_ = chip_->core().hung() ? Health::hung : Health::crashed;
        diagnosis_ = fmt::format("{}: {}.",
                                 chip_->core().hung()
                                     ? "The firmware makes no progress"
                                     : "The firmware did what the processor cannot go on from",
                                 chip_->core().end());
        if (view_) view_->ended();
      }
    }
    // Edges of different instants inside one instruction are told in different calls.
    if (told_ != told_before) return contact_;
    if (!none_waits()) {
      const Time first = waiting_[first_].at;
      if (first > horizon) return horizon;
      tell(first);
      return first;
    }
    const bool lives = chip_ != nullptr && chip_->core().can_go_on();
    return lives ? std::max(horizon, began_ + chip_->now()) : horizon;
  }

  void debug_with(mcu::Debugger& debugger) noexcept override { debugger_ = &debugger; }

  void deliver(const Edge& edge) noexcept override {
    const auto& pin = wires_.lines[index(edge.line)];
    if (edge.line == line::driver_fault) tell_trip(edge.level);
    if (chip_ == nullptr || !pin || from_controller(edge.line)) return;
    if (later_ >> index(edge.line) & 1)
      chip_->set_input(*pin, edge.level, edge.at - began_);
    else
      chip_->set_input(*pin, edge.level);
  }
  std::uint32_t hears_later() const noexcept override { return later_; }
  Health health() const noexcept override { return health_; }
  std::string_view diagnosis() const noexcept override { return diagnosis_; }
  std::optional<Doubt> doubt() const override {
    if (doubt_ || chip_ == nullptr || !chip_->doubt()) return doubt_;
    return Doubt{began_ + chip_->doubt()->from, chip_->doubt()->why};
  }
  std::vector<Setting> settings() const override { return settings_; }
  std::string coverage() const override {
    return coverage_ + (chip_ != nullptr ? used() : std::string());
  }

  mcu::Variables variables() const override {
    return mcu::read_variables(config_.firmware, elf_target(),
                               [this](auto address, auto bytes) { return in_ram(address, bytes); });
  }
  void watch(mcu::WatchedValues& values) noexcept override { watched_ = &values; }
  std::optional<mcu::Workload> workload() const override {
    return chip_ != nullptr ? std::optional(chip_->workload()) : std::nullopt;
  }

 private:
  double brown_out_V() const noexcept {
    return chip_ != nullptr ? chip_->flash_controller().brown_out_V(false) : brown_out_rising_V_;
  }
  bool in_ram(std::uint64_t address, std::uint64_t bytes) const noexcept {
    const Memories& m = part_.memories;
    const auto in = [&](Word base, Word size) {
      return address >= base && address - base < size && bytes <= size - (address - base);
    };
    return in(m.sram_base, m.sram_bytes) || in(m.ccm_base, m.ccm_bytes);
  }
  void read_variables() {
    while (began_ + chip_->now() >= watched_->next())
      watched_->take([&](const mcu::WatchedPlace& p) -> const std::uint8_t* {
        return chip_->core().bus().memory(p.address);
      });
  }
  std::string used() const { return chip_->coverage() + described(chip_->workload()); }
  static LineId line_id(std::size_t i) noexcept { return LineId{static_cast<std::uint16_t>(i)}; }

  void start(Time at) {
    began_ = at;
    if (watched_ != nullptr) watched_->skip_to(at);
    health_ = Health::running;
    diagnosis_.clear();
    chip_ = std::make_unique<Chip>(part_, program_, static_cast<std::uint32_t>(config_.crystal_Hz),
                                   static_cast<ChipOutside&>(*this));
    if (!config_.translated) chip_->core().translate(false);
    if (debugger_ != nullptr) view_.emplace(*chip_, *debugger_);
    for (std::size_t i = 0; i < gate_count; ++i)
      if (wires_.lines[i]) chip_->add_gate(*wires_.lines[i]);
    for (std::size_t i = 0; i < line_count; ++i)
      if (wires_.lines[i] && !from_controller(line_id(i)))
        chip_->set_input(*wires_.lines[i], world_->level(line_id(i), at));
    at_gates_.fill(Level::released);
    if (wires_.lines[index(line::driver_fault)]) tell_trip(world_->level(line::driver_fault, at));
    board_.start([this](PinId pin, Level level) { chip_->set_input(pin, level); }, at);
  }

  // What the chip says, by its own time.
  void text(Time t, std::string_view text) override {
    contact(began_ + t);
    if (text.ends_with('\n')) text.remove_suffix(1);
    world_->text(began_ + t, text);
  }
  void driven(PinId id, Level level, Time t) noexcept override {
    const Pin& pin = pins_[id.port][id.number];
    const Time at = began_ + t;
    if (pin.on_board) tell_board(id, level, at);
    if (!pin.is_output) return;
    if (gate_driver_ && is_gate(pin.line)) {
      at_gates_[index(pin.line)] = level;
      if (!gate_driver_->enabled()) return;
    }
    if (passes(pin.line, level, at)) return;
    drive(pin.line, level, at);
    chip_->come_back();
  }
  double share(PinId pin, Time t) noexcept override {
    const auto channel = wires_.channel[pin.port][pin.number];
    if (!channel) return 0.0;
    contact(began_ + t);
    const double volts = world_->volts(*channel, began_ + t);
    if (later_ != 0) catch_up(t);  // the plant stands there by now: edges are to be had for nothing
    return volts * config_.input_divider / supply_V_;
  }
  void catch_up(Time t) noexcept override {
    const Time at = began_ + t;
    if (later_ == 0 || at == caught_up_) return;
    caught_up_ = at;
    contact(at);
    const std::span<const Edge> edges = world_->heard(at);
    if (edges.empty()) return;
    heard_.assign(edges.begin(), edges.end());  // what one brings about may ask again
    for (const Edge& edge : heard_) deliver(edge);
  }
  /// Encoder lines may wait where nothing in the chip stirs at their edges.
  void listen() noexcept {
    later_ = 0;
    if (chip_ == nullptr) return;
    listeners_ = chip_->listeners();
    std::array<PinId, 3> late;
    std::size_t count = 0;
    for (const LineId line : {line::encoder_A, line::encoder_B, line::encoder_Z}) {
      const auto& pin = wires_.lines[index(line)];
      if (pin && !chip_->keeps_edges(*pin)) continue;
      if (pin) late[count++] = *pin;
      later_ |= 1u << index(line);
    }
    chip_->hear_late({late.data(), count});
  }

  void tell_trip(Level level) noexcept {
    if (gate_driver_)
      gate_driver_->trip((level == Level::high) == config_.partners.gate_driver.fault_high &&
                         level != Level::released);
  }
  /// A frame may end with this edge, and the gate driver let the gates through or not.
  void tell_board(PinId pin, Level level, Time at) noexcept {
    const bool before = gate_driver_ && gate_driver_->enabled();
    board_.driven(pin, level, at);
    if (!gate_driver_ || gate_driver_->enabled() == before) return;
    for (std::size_t i = 0; i < gate_count; ++i)
      drive(line_id(i), before ? Level::released : at_gates_[i], at);
    chip_->come_back();
  }

  void stop(Time at) {
    program_.flash = chip_->core().flash();
    program_.option_bytes = chip_->flash_controller().stored_options();
    brown_out_rising_V_ = chip_->flash_controller().brown_out_V(true);
    doubt_ = doubt();
    coverage_ += fmt::format("Until {:.6f} s, when the supply was switched off.\n{}",
                             static_cast<double>(at.count()) / 1e12, used());
    view_.reset();
    chip_.reset();
    for (std::size_t i = 0; i < line_count; ++i)
      if (wires_.lines[i] && from_controller(line_id(i))) drive(line_id(i), Level::released, at);
  }

  bool none_waits() const noexcept { return waiting_.empty(); }
  void drive(LineId line, Level level, Time at) noexcept {
    if (driven_[index(line)] == level) return;
    driven_[index(line)] = level;
    waiting_.push_back({at, line, level});
  }
  /// The chip runs on behind it.
  bool passes(LineId line, Level level, Time at) noexcept {
    if (driven_[index(line)] == level || !none_waits() || at > horizon_ ||
        !world_->pass({at, line, level}))
      return false;
    driven_[index(line)] = level;
    contact_ = at;
    return true;
  }
  /// The world is about to be told or asked something of that instant.
  void contact(Time at) noexcept {
    if (!none_waits()) tell(at);
    contact_ = at;
  }
  /// The edges of that instant and before.
  void tell(Time until) noexcept {
    while (!none_waits() && waiting_[first_].at <= until) {
      const Edge edge = waiting_[first_++];
      if (first_ == waiting_.size()) {
        waiting_.clear();
        first_ = 0;
      }
      contact_ = edge.at;
      ++told_;
      world_->drive(edge);
    }
  }

  const ChipPart& part_;
  Program program_;
  std::vector<Setting> settings_;  // as the flash held them before its first start
  McuConfig config_;
  Wires wires_;
  struct Pin {
    LineId line{};           // of the connector's
    bool is_output = false;  // the controller drives that line
    bool on_board = false;   // a partner stands at it
  };
  std::array<std::array<Pin, 16>, 16> pins_{};
  World* world_ = nullptr;
  double supply_V_ = 0.0;            // of the chip
  double brown_out_rising_V_ = 0.0;  // by its option bytes, while it is off
  Board board_;
  std::optional<Eeprom> eeprom_;
  std::optional<GateDriver> gate_driver_;
  std::array<Level, gate_count> at_gates_{};  // what the chip drives there
  std::unique_ptr<Chip> chip_;
  mcu::Debugger* debugger_ = nullptr;
  mcu::WatchedValues* watched_ = nullptr;
  std::optional<DebugView> view_;  // where there is a debugger
  Time began_{};                   // its first cycle
  std::array<Level, line_count> driven_{};
  std::vector<Edge> waiting_;  // to be told, from first_ on; empty where none is
  std::size_t first_ = 0;
  std::uint64_t told_ = 0;
  std::uint32_t later_ = 0;  // hears_later(), by what in the chip ...
  unsigned listeners_ = 0;   // ... listened
  std::vector<Edge> heard_;
  Time caught_up_ = Time::min();
  Time contact_{};              // when the world was last told or asked
  Time horizon_ = Time::min();  // of the running run()
  Health health_ = Health::running;
  std::string diagnosis_;
  std::optional<Doubt> doubt_;  // of the chip's earlier lives
  std::string coverage_;        // of the chip's earlier lives
};

}  // namespace

std::unique_ptr<SimulatedController> make_cortexm(const McuConfig& config) {
  const ChipPart* part = find_chip(config.part);
  if (part == nullptr)
    throw ConfigError("controller.part",
                      fmt::format("part is {}; this family has {}.", config.part, chip_names()));
  if (!(config.reference_V >= off_V && config.reference_V <= 3.6))
    throw ConfigError(
        "controller.reference",
        fmt::format("reference is {:g} V; allowed 1.8 V to 3.6 V, the chip's supply and "
                    "full scale of its converters.",
                    config.reference_V));
  if (!(config.crystal_Hz >= 4e6 && config.crystal_Hz <= 26e6))
    throw ConfigError(
        "controller.crystal",
        fmt::format("crystal is {:g} MHz; allowed 4 MHz to 26 MHz.", config.crystal_Hz / 1e6));
  const Wires wires = connect(config, *part);
  Program program = load_program(config.firmware, part->memories);
  std::vector<Setting> settings = store_settings(program, part->memories, config.settings);
  return std::make_unique<CortexController>(*part, std::move(program), std::move(settings), config,
                                            wires);
}

}  // namespace stillrotor::io
