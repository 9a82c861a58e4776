#include "io/hostfw/hostfw.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>
#include <string>
#include <vector>

#include "io/hostfw/host.hpp"
#include "io/hostfw/quadrature.hpp"
#include "io/modulator.hpp"

namespace stillrotor::io {
namespace hostfw {
namespace {

constexpr Time never = Time::max();

Time from_seconds(double s) noexcept { return Time{std::llround(1e12 * s)}; }

/// Fixed room, ordered by time; ties keep the order of their coming.
template <std::size_t size>
class EdgeQueue {
 public:
  bool add(const Edge& edge) noexcept {
    if (count_ == size) return false;
    std::size_t k = count_++;
    for (; k > 0 && edges_[k - 1].at > edge.at; --k) edges_[k] = edges_[k - 1];
    edges_[k] = edge;
    return true;
  }
  Time due() const noexcept { return count_ > 0 ? edges_[0].at : never; }
  Edge take() noexcept {
    const Edge first = edges_[0];
    std::move(edges_.begin() + 1, edges_.begin() + count_--, edges_.begin());
    return first;
  }
  void clear() noexcept { count_ = 0; }

 private:
  std::array<Edge, size> edges_{};
  std::size_t count_ = 0;
};

class HostFirmware final : public SimulatedController, FirmwareHost::Questions {
 public:
  explicit HostFirmware(const HostFirmwareConfig& config)
      : supply_V_(config.supply_V),
        asked_(config.settings),
        host_(config.in_process ? make_in_process_host(config) : make_process_host(config)) {
    start();
    fresh_ = true;
  }

  void power(double volts, Time at, World& world) override {
    world_ = &world;
    now_ = std::max(now_, at);
    if (volts < 0.8 * supply_V_) {
      if (powered_) host_->stop();
      fresh_ = fresh_ && !powered_;
      powered_ = false;
      release_outputs();
      return;
    }
    if (powered_) return;
    if (!fresh_) start();
    fresh_ = false;
    powered_ = true;
    health_ = Health::running;
    diagnosis_.clear();
    pwm_.reset();
    by_hand_.clear();
    arrivals_.clear();
    timers_ = {};
    duties_ = {};
    for (std::size_t k = 0; k < line_count; ++k) levels_[k] = level_of(k);
    quadrature_.reset(high(line::encoder_A), high(line::encoder_B));
    call(Call::reset);
    require_kept();
  }

  Time run(Time horizon) noexcept override {
    while (powered_ && health_ == Health::running) {
      if (arrivals_.due() <= now_) {
        const Edge edge = arrivals_.take();
        edge_interrupt(edge);
        continue;
      }
      const Time carrier = pwm_ && pwm_->next() ? pwm_->next()->at : never;
      const Time next =
          std::min({carrier, by_hand_.due(), next_valley_, next_crest_, next_timer()});
      if (next > horizon) break;
      now_ = std::max(now_, next);
      // What was decided earlier comes first.
      if (next == carrier) {
        const Edge edge = *pwm_->next();
        pwm_->taken();
        return drive(edge);
      }
      if (next == by_hand_.due()) return drive(by_hand_.take());
      if (next == next_valley_)
        valley();
      else if (next == next_crest_)
        crest();
      else
        timer_interrupt(next);
    }
    return now_ = std::max(now_, horizon);
  }

  void deliver(const Edge& edge) noexcept override {
    if (!powered_ || from_controller(edge.line)) return;
    levels_[index(edge.line)] = edge.level;
    quadrature_.edge(edge);
    if (edge.line == line::driver_fault && edge.level == Level::high && pwm_ && stops_on_fault_) {
      for (int leg = 0; leg < 3; ++leg) pwm_->set_mode(leg, LegMode::off, now_);
      pwm_->plan(now_);
    }
    if ((host_->mailbox().orders.watched >> index(edge.line) & 1u) == 0) return;
    if (!arrivals_.add({std::min(edge.at, now_), edge.line, edge.level}))
      end(Health::hung, "edges of the lines it watches come faster than it can be called");
  }

  Health health() const noexcept override { return health_; }
  std::string_view diagnosis() const noexcept override { return diagnosis_; }
  std::vector<Setting> settings() const override { return settings_; }

 private:
  using Call = hostfw::Call;
  struct Timer {
    Time period{}, next = never;
  };
  /// Duties on their way from firmware to the carrier.
  struct Duties {
    Time acts = never;
    std::uint32_t legs = 0;
    std::array<double, 3> share{};
  };

  /// Loads it, writes what the bench asks for and reads all settings back.
  void start() {
    host_->start();
    std::vector<SettingForm> forms;
    settings_.clear();
    for (std::uint32_t k = 0;; ++k) {
      const SettingSlip slip = setting(Call::read_setting, k);
      if (slip.name[0] == '\0') break;
      forms.push_back({slip.name.data(), slip.unit.data(), slip.whole != 0, slip.least, slip.most});
      settings_.push_back({slip.name.data(), slip.unit.data(), slip.value, false});
    }
    for (const SettingChange& change : asked_) {
      const std::size_t k = form_of(change, forms);
      host_->mailbox().setting.value = change.value;
      setting(Call::write_setting, static_cast<std::uint32_t>(k));
      settings_[k].value =
          setting(Call::read_setting, static_cast<std::uint32_t>(k)).value;  // as its type rounds
      settings_[k].written = true;
      // A float holds 24 bits of it.
      if (!(std::fabs(settings_[k].value - change.value) <= 6e-8 * std::fabs(change.value)))
        require_taken(change, change.value, settings_[k].value);
    }
  }

  /// Firmware that initialises its own settings at reset would run with others than the bench says.
  void require_kept() {
    for (const SettingChange& change : asked_) {
      if (health_ != Health::running) return;
      for (std::uint32_t k = 0; k < settings_.size(); ++k)
        if (settings_[k].name == change.name)
          require_taken(change, settings_[k].value, setting(Call::read_setting, k).value);
    }
  }

  SettingSlip setting(Call what, std::uint32_t number) {
    Mailbox& box = host_->mailbox();
    box.call = what;
    box.number = number;
    if (!host_->call(*this))
      throw ConfigError("controller.firmware", "the firmware failed: " + host_->diagnosis());
    SettingSlip slip = box.setting;
    slip.name.back() = slip.unit.back() = '\0';
    return slip;
  }

  Time next_timer() const noexcept {
    Time next = never;
    for (const Timer& timer : timers_) next = std::min(next, timer.next);
    return next;
  }

  void timer_interrupt(Time due) noexcept {
    for (std::uint32_t k = 0; k < timers_.size(); ++k) {
      if (timers_[k].next != due) continue;
      timers_[k].next += timers_[k].period;
      return call(Call::timer, k);
    }
  }

  void edge_interrupt(const Edge& edge) noexcept {
    Mailbox& box = host_->mailbox();
    box.level = static_cast<std::uint32_t>(edge.level);
    box.edge_ns = edge.at.count() / 1000;
    call(Call::edge, static_cast<std::uint32_t>(index(edge.line)));
  }

  void valley() noexcept {
    for (Duties& d : duties_) {
      if (d.acts > now_) continue;
      for (int leg = 0; leg < 3; ++leg)
        if (d.legs >> leg & 1u) pwm_->set_duty(leg, d.share[static_cast<std::size_t>(leg)]);
      d = {};
    }
    pwm_->begin_period(now_);
    next_valley_ = pwm_->period_end();
    next_crest_ = now_ + pwm_->period() / 2;
    pwm_->plan(now_);
    call(Call::valley, 0, valley_samples_);
  }

  void crest() noexcept {
    next_crest_ = never;
    call(Call::crest, 0, crest_samples_);
  }

  void call(Call what, std::uint32_t number = 0, std::uint32_t samples = 0) noexcept {
    Mailbox& box = host_->mailbox();
    box.call = what;
    box.number = number;
    box.orders.clear();
    Moment& moment = box.moment;
    moment.now_ps = now_.count();
    moment.high = moment.released = 0;
    for (std::size_t k = 0; k < line_count; ++k) {
      const Level level = level_of(k);
      moment.high |= std::uint32_t{level == Level::high} << k;
      moment.released |= std::uint32_t{level == Level::released} << k;
    }
    moment.sampled = samples;
    for (std::size_t k = 0; k < channel_count; ++k)
      if (samples >> k & 1u) moment.volts[k] = volts(k);
    moment.encoder = quadrature_.shown();
    if (!host_->call(*this)) return end(host_->health(), host_->diagnosis());
    if (!sane(box.orders)) return end(Health::crashed, scribbled);
    obey(box.orders);
  }

  /// In the middle of an interrupt.
  void answer(Mailbox& box) noexcept override {
    if (box.answer == Answer::volts) {
      if (box.asked >= channel_count) return;
      box.moment.volts[box.asked] = volts(box.asked);
      box.moment.sampled |= 1u << box.asked;
      return;
    }
    if (sane(box.orders)) take_lines(box.orders);
    box.orders.drive_count = box.orders.text_size = 0;
  }

  static bool sane(const Orders& o) noexcept {
    if (o.drive_count > o.drives.size() || o.text_size > o.text.size()) return false;
    for (std::uint32_t k = 0; k < o.drive_count; ++k)
      if (o.drives[k].line >= line_count || o.drives[k].level > 2 ||
          !(o.drives[k].after_s >= 0.0 && o.drives[k].after_s <= 1e6))
        return false;
    for (std::size_t k = 0; k < 3; ++k)
      if (o.mode[k] > SR_LEG_COMPLEMENTARY || !(o.duty[k] >= 0.0 && o.duty[k] <= 1.0)) return false;
    for (std::size_t k = 0; k < o.timer_s.size(); ++k)
      if ((o.timers >> k & 1u) && !(o.timer_s[k] >= 0.0 && o.timer_s[k] <= 1e6)) return false;
    return o.pwm_started == 0 ||
           (o.pwm.frequency_Hz >= 1.0 && o.pwm.frequency_Hz <= 1e6 && o.pwm.dead_time_s >= 0.0 &&
            o.pwm.dead_time_s <= 1.0 && o.pwm.compute_s >= 0.0 && o.pwm.compute_s <= 1.0);
  }

  void obey(const Orders& orders) noexcept {
    take_lines(orders);
    if (orders.pwm_started != 0) start_pwm(orders.pwm);
    if (orders.duties != 0 && pwm_) take_duties(orders);
    if (orders.modes != 0 && pwm_) {
      for (int leg = 0; leg < 3; ++leg)
        if (orders.modes >> leg & 1u)
          pwm_->set_mode(leg, static_cast<LegMode>(orders.mode[static_cast<std::size_t>(leg)]),
                         now_);
      pwm_->plan(now_);
    }
    for (std::size_t k = 0; k < timers_.size(); ++k) {
      if ((orders.timers >> k & 1u) == 0) continue;
      const Time period = from_seconds(orders.timer_s[k]);
      timers_[k] = {period, period > Time{0} ? now_ + period : never};
    }
  }

  void take_lines(const Orders& orders) noexcept {
    for (std::uint32_t k = 0; k < orders.drive_count; ++k) {
      const DriveOrder& order = orders.drives[k];
      if (!by_hand_.add({now_ + from_seconds(order.after_s),
                         LineId(static_cast<std::uint16_t>(order.line)),
                         static_cast<Level>(order.level)}))
        return end(Health::crashed, "it ordered more edges ahead than a timer could hold (" +
                                        std::to_string(edges_ahead) + ")");
    }
    if (orders.text_size > 0) world_->text(now_, {orders.text.data(), orders.text_size});
  }

  void take_duties(const Orders& orders) noexcept {
    const Time ready = now_ + compute_;
    Time acts = next_valley_;
    while (acts < ready) acts += pwm_->period();
    const auto slot = std::find_if(duties_.begin(), duties_.end(), [acts](const Duties& d) {
      return d.acts == acts || d.acts == never;
    });
    if (slot == duties_.end()) return;  // cannot be: compute_s is at most a period
    slot->acts = acts;
    for (std::size_t leg = 0; leg < 3; ++leg)
      if (orders.duties >> leg & 1u) slot->share[leg] = orders.duty[leg];
    slot->legs |= orders.duties;
  }

  void start_pwm(const sr_pwm& pwm) noexcept {
    for (std::uint16_t gate = 0; gate < gate_count; ++gate)
      if (driven_[gate] != Level::low && !by_hand_.add({now_, LineId{gate}, Level::low}))
        return end(Health::crashed, "it restarts PWM without end");
    pwm_.emplace(pwm.frequency_Hz, pwm.dead_time_s);
    pwm_->reset(now_);
    duties_ = {};
    compute_ = from_seconds(pwm.compute_s);
    stops_on_fault_ = pwm.stops_on_driver_fault != 0;
    valley_samples_ = pwm.valley_samples & ((1u << channel_count) - 1);
    crest_samples_ = pwm.crest_samples & ((1u << channel_count) - 1);
    next_valley_ = now_ + pwm_->period();
    next_crest_ = never;
    pwm_->begin_period(now_);
  }

  Time drive(Edge edge) noexcept {
    edge.at = now_;
    driven_[index(edge.line)] = edge.level;
    world_->drive(edge);
    return now_;
  }

  void release_outputs() noexcept {
    for (std::uint16_t id = 0; id < line_count; ++id) {
      if (!from_controller(LineId{id})) continue;
      drive({now_, LineId{id}, Level::released});
    }
    by_hand_.clear();
    arrivals_.clear();
    pwm_.reset();
    next_valley_ = next_crest_ = never;
    timers_ = {};
  }

  /// Gates go on as the timer last had them for as long as the bench lets them.
  void end(Health health, std::string why) noexcept {
    if (health_ != Health::running) return;
    health_ = health;
    diagnosis_ = std::move(why);
    host_->stop();
  }

  double volts(std::size_t k) noexcept {
    return world_->volts(ChannelId(static_cast<std::uint16_t>(k)), now_);
  }
  Level level_of(std::size_t k) noexcept {
    const LineId id{static_cast<std::uint16_t>(k)};
    return from_controller(id) ? driven_[k] : world_->level(id, now_);
  }
  bool high(LineId id) const noexcept { return levels_[index(id)] == Level::high; }

  static constexpr std::size_t edges_ahead = 64;
  static constexpr const char* scribbled = "it wrote over what it shares with the bench";

  double supply_V_;
  std::vector<SettingChange> asked_;
  std::vector<Setting> settings_;
  std::unique_ptr<FirmwareHost> host_;
  bool fresh_ = false, powered_ = false;
  World* world_ = nullptr;
  Time now_{};
  Health health_ = Health::running;
  std::string diagnosis_;

  std::array<Level, line_count> levels_{};  // that the bench drives, as delivered
  std::array<Level, line_count> driven_ = [] {
    std::array<Level, line_count> all{};
    all.fill(Level::released);
    return all;
  }();
  Quadrature quadrature_;
  EdgeQueue<256> arrivals_;  // of watched lines
  EdgeQueue<edges_ahead> by_hand_;
  std::array<Timer, 8> timers_{};

  std::optional<Modulator> pwm_;
  std::array<Duties, 2> duties_{};
  Time next_valley_ = never, next_crest_ = never, compute_{};
  bool stops_on_fault_ = false;
  std::uint32_t valley_samples_ = 0, crest_samples_ = 0;
};

}  // namespace
}  // namespace hostfw

std::unique_ptr<SimulatedController> make_host_firmware(const HostFirmwareConfig& config) {
  return std::make_unique<hostfw::HostFirmware>(config);
}

}  // namespace stillrotor::io
