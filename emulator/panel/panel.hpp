// The panel without its sockets: who looks, who drives, what each is shown and told.
// Thread  the server's, but for the constructor.
// Errors  whatever a page says is answered; nothing is thrown but std::bad_alloc.
#pragma once

#include <chrono>
#include <cstdint>
#include <deque>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "emulator/panel/access.hpp"
#include "emulator/panel/client_views.hpp"
#include "emulator/panel/rate_limit.hpp"
#include "emulator/panel/seat.hpp"
#include "emulator/panel/shown_run.hpp"

namespace stillrotor {

/// Codes that a connection is closed with (docs/panel-messages.md).
enum class CloseCode : std::uint16_t {
  not_text = 1003,
  too_much = 1008,
  too_large = 1009,
  too_many = 1013,
  token = 4001,
  no_hello = 4002,
  protocol = 4003,
  replaced = 4004
};

struct PanelClient {
  using Time = std::chrono::steady_clock::time_point;
  explicit PanelClient(Time now) : joined(now) {}

  Time joined;
  std::string id, name;  // id: only it knows; empty before its hello
  bool greeted() const noexcept { return !id.empty(); }
  std::shared_ptr<ShownRun> run;
  ClientViews views;
  std::deque<std::string> texts;   // to be sent, in order
  std::optional<CloseCode> close;  // after the texts

  RateLimit limit{20.0, 40.0};
  std::uint64_t marks_told = 0;
  std::string state_told;
  Time state_at{};
};
using PanelClientPtr = std::shared_ptr<PanelClient>;

/// What a page can do to a run; of finished ones there is none.
class DrivenRun {
 public:
  virtual ~DrivenRun() = default;
  /// Empty: done; else why not.
  virtual std::string run(RunRequest) = 0;
  /// A number; what became of it comes by settled().
  virtual std::uint64_t act(const ActRequest&) = 0;
  struct Settled {
    std::uint64_t number = 0;
    bool done = false;
    double at_s = 0.0;
    std::string line, why;
  };
  virtual std::vector<Settled> settled() = 0;
};

/// Runs to choose among; see RunShelf.
class RunChoice {
 public:
  virtual ~RunChoice() = default;
  virtual nlohmann::json list() const = 0;
  /// nullptr: there is none of that name, or it cannot be read; `why` says it.
  virtual std::shared_ptr<ShownRun> open(const std::string& name, std::string& why) = 0;
};

class Panel {
 public:
  using Time = PanelClient::Time;
  static constexpr std::size_t marks_in_welcome = 500, marks_at_once = 100;
  static constexpr std::chrono::seconds hello_within{5};

  /// run: what whoever comes is shown. driven, choice: nullptr where there is none.
  Panel(const AccessRules&, std::shared_ptr<ShownRun> run, DrivenRun* driven, RunChoice* choice);
  ~Panel();

  PanelClientPtr join(Time now);
  void leave(const PanelClientPtr&, Time now);
  void hear(PanelClient&, std::string_view text, Time now);
  std::size_t clients() const noexcept { return clients_.size(); }

  /// Everything that the run produces goes here too: triggers look at all of it.
  RunSink& looker() noexcept { return looker_; }
  /// About 30 times a second, after the run's news have been taken in.
  void turn(Time now);

  std::optional<std::string> document(std::string_view target) const;

 private:
  struct Looker final : RunSink {
    explicit Looker(const Panel& p) noexcept : panel(p) {}
    void frame(const Frame&) noexcept override;
    void edge(const LineEdge&) noexcept override;
    void mark(MarkKind, std::int64_t at_ps, std::string_view name, std::string_view detail,
              std::int64_t to_ps) noexcept override;
    const Panel& panel;
  };
  struct Asked {
    std::weak_ptr<PanelClient> client;
    std::optional<std::uint32_t> ask;
  };

  void say(PanelClient&, const nlohmann::json&);
  void refuse(PanelClient&, std::optional<std::uint32_t> ask, std::string_view why);
  void done(PanelClient&, std::optional<std::uint32_t> ask);
  void welcome(PanelClient&);
  void tell_marks(PanelClient&);
  void tell_state(PanelClient&, Time now, bool at_once);
  void tell_trigger(PanelClient&);
  bool drives(const PanelClient& client, Time now) { return seat_.holder(now) == client.id; }
  PanelClientPtr pointer(const PanelClient&) const;

  void on(PanelClient&, const Hello&, std::optional<std::uint32_t>, Time);
  void on(PanelClient&, const ViewSpec&, std::optional<std::uint32_t>, Time);
  void on(PanelClient&, const TriggerSpec&, std::optional<std::uint32_t>, Time);
  void on(PanelClient&, const DriveRequest&, std::optional<std::uint32_t>, Time);
  void on(PanelClient&, const ActRequest&, std::optional<std::uint32_t>, Time);
  void on(PanelClient&, const RunRequest&, std::optional<std::uint32_t>, Time);
  void on(PanelClient&, const OpenRequest&, std::optional<std::uint32_t>, Time);

  const AccessRules& rules_;
  std::shared_ptr<ShownRun> run_;
  DrivenRun* driven_;
  RunChoice* choice_;
  std::vector<PanelClientPtr> clients_;
  DriversSeat seat_;
  std::map<std::string, std::string> names_;  // by id, of everybody who has been here lately
  std::deque<std::string> ids_;               // in the order of their coming
  std::uint64_t named_ = 0;
  std::map<std::uint64_t, Asked> asked_;  // acts under way
  Looker looker_{*this};
};

}  // namespace stillrotor
