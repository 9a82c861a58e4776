// A real server on a port of its own, and pages that behave, misbehave and vanish.
#include <gtest/gtest.h>

#include <atomic>
#include <cstdlib>
#include <cstring>
#include <mutex>
#include <random>
#include <thread>

#include "emulator/panel/frame_header.hpp"
#include "emulator/panel/panel_store.hpp"
#include "emulator/panel/server.hpp"
#include "emulator/panel/welcome.hpp"
#include "tests/emulator/panel/page_client.hpp"

namespace stillrotor {
namespace {

using namespace std::chrono_literals;
using test::http;
using test::Json;
using test::PageClient;

constexpr std::array<std::uint8_t, io::line_bytes> all_low{};

/// A run that moves on by 20 points of 20 kHz each time the server looks, so that what is shown
/// depends on no clock.
class MovingRun final : public ShownRun, public DrivenRun {
 public:
  const ViewSource& source() const override { return store_; }
  const std::vector<std::uint16_t>& lines() const override { return lines_; }
  Json welcome() const override { return {{"live", true}, {"signals", signals_json()}}; }
  Json state(Json& moving) const override {
    moving["t_s"] = 0.0;
    return {{"phase", "running"}};
  }
  const std::deque<PanelMark>& marks() const override { return store_.marks(); }
  std::uint64_t marks_gone() const override { return store_.marks_gone(); }
  std::optional<std::string> document(std::string_view name) const override {
    if (name == "report.html") return "<p>report</p>";
    return {};
  }
  std::string run(RunRequest request) override {
    asked_.push_back(request);
    return request == RunRequest::pause ? "It cannot." : "";
  }
  std::uint64_t act(const ActRequest& act) override {
    settled_.push_back({++acts_, act.words.front().first != "brake", 1.5, "{at: 1.5 s}", "No."});
    return acts_;
  }
  std::vector<Settled> settled() override { return std::exchange(settled_, {}); }

  void move(Panel& panel) {
    for (int k = 0; k < 20; ++k) {
      Frame frame;
      const std::int64_t point = store_.points();
      frame.at_ps = (point + 1) * 50'000'000;
      frame.value.fill(static_cast<float>(point));
      store_.frame(frame);
      panel.looker().frame(frame);
    }
    if (marks_ < marks_wanted_.load()) {
      store_.mark(MarkKind::fault, 1, "hall_line_open", "U", 0);
      panel.looker().mark(MarkKind::fault, 1, "hall_line_open", "U", 0);
      ++marks_;
    }
  }
  void mark() { ++marks_wanted_; }

 private:
  PanelStore store_{20e3, all_low};
  std::vector<std::uint16_t> lines_{0, 6};
  std::vector<RunRequest> asked_;
  std::vector<Settled> settled_;
  std::uint64_t acts_ = 0;
  int marks_ = 0;
  std::atomic<int> marks_wanted_{0};
};

struct Served {
  std::shared_ptr<MovingRun> run = std::make_shared<MovingRun>();
  PanelServer server;
  explicit Served(const std::string& token = {})
      : server(
            {"127.0.0.1", 0}, token,
            {run, run.get(), nullptr, [this](Panel& panel, std::chrono::steady_clock::time_point) {
               run->move(panel);
               return false;
             }}) {}
  std::uint16_t port() const { return server.address().port; }
};

Json scope(int id = 0) {
  return {{"view",
           {{"id", id},
            {"kind", "scope"},
            {"signals", {"speed"}},
            {"lines", {"hall.U"}},
            {"span_s", 0.1},
            {"columns", 100}}}};
}

FrameHeader header_of(const std::string& frame) {
  FrameHeader header;
  if (frame.size() >= sizeof header) std::memcpy(&header, frame.data(), sizeof header);
  return header;
}

TEST(PanelServer, ServesThePageWithItsPolicy) {
  const Served served;
  const std::string host = "Host: 127.0.0.1:" + std::to_string(served.port()) + "\r\n";
  const std::string close = host + "Connection: close\r\n\r\n";
  const std::string page = http(served.port(), "GET / HTTP/1.1\r\n" + close);
  EXPECT_TRUE(page.starts_with("HTTP/1.1 200"));
  for (const char* head : {"Content-Security-Policy: default-src 'none'; script-src 'self'",
                           "X-Content-Type-Options: nosniff", "Referrer-Policy: no-referrer",
                           "Cache-Control: no-store", "Content-Type: text/html"})
    EXPECT_NE(page.find(head), std::string::npos) << head;
  EXPECT_NE(page.find("<html"), std::string::npos);
  const std::string head = http(served.port(), "HEAD / HTTP/1.1\r\n" + close);
  EXPECT_TRUE(head.starts_with("HTTP/1.1 200"));
  EXPECT_EQ(head.find("<html"), std::string::npos);
  const std::string report = http(served.port(), "GET /report.html HTTP/1.1\r\n" + close);
  EXPECT_NE(report.find("style-src 'unsafe-inline'"), std::string::npos);
  EXPECT_EQ(report.find("script-src"), std::string::npos);
}

TEST(PanelServer, RefusesWhatIsNoRequestForIt) {
  const Served served;
  const std::string name = "127.0.0.1:" + std::to_string(served.port());
  const std::string host = "Host: " + name + "\r\n";
  const std::pair<std::string, const char*> table[] = {
      {"GET /nothing HTTP/1.1\r\n" + host + "Connection: close\r\n\r\n", "404"},
      {"GET /../etc/passwd HTTP/1.1\r\n" + host + "Connection: close\r\n\r\n", "404"},
      {"GET /scenario.yaml HTTP/1.1\r\n" + host + "Connection: close\r\n\r\n", "404"},
      {"GET / HTTP/1.1\r\nHost: evil.example\r\n\r\n", "421"},
      {"GET / HTTP/1.1\r\n\r\n", "421"},
      {"PUT / HTTP/1.1\r\n" + host + "\r\n", "405"},
      {"POST / HTTP/1.1\r\n" + host + "Content-Length: 100000\r\n\r\n", "413"},
      {"GET / HTTP/1.1\r\n" + host + "X: " + std::string(9'000, 'x') + "\r\n\r\n", "431"},
      {"nonsense\r\n\r\n", "400"},
      {std::string(200, '\0') + "\r\n\r\n", "400"}};
  for (const auto& [request, status] : table) {
    const std::string answer = http(served.port(), request);
    EXPECT_EQ(answer.substr(9, 3), status) << request.substr(0, 60);
  }
  EXPECT_EQ(PageClient(served.port(), "http://evil.example").status(), 403U);
  EXPECT_TRUE(http(served.port(), "GET / HTTP/1.1\r\n" + host + "Connection: close\r\n\r\n")
                  .starts_with("HTTP/1.1 200"));
}

TEST(PanelServer, WelcomesShowsAndDrives) {
  Served served;
  PageClient page(served.port()), other(served.port());
  const Json welcome = page.greet();
  EXPECT_EQ(welcome.at("protocol"), 1);
  EXPECT_EQ(welcome.at("signals").size(), signal_count);
  other.greet();

  page.say(scope());
  const std::string frame = page.hear_frame();
  const FrameHeader header = header_of(frame);
  EXPECT_EQ(header.columns, 100U);
  EXPECT_EQ(frame.size(), 64U + 16 * 100 + 100);

  const auto refused = [](PageClient& by, const Json& what) {
    by.say(what);
    return by.hear("refused").at("why").get<std::string>();
  };
  EXPECT_NE(refused(page, {{"act", {{"throttle", "1 V"}}}, {"ask", 1}}).find("seat"),
            std::string::npos);
  page.say({{"drive", "take"}, {"ask", 2}});
  EXPECT_EQ(page.hear("done").at("ask"), 2);
  EXPECT_NE(refused(other, {{"drive", "take"}}).find("drives"), std::string::npos);
  EXPECT_NE(refused(other, {{"run", "start"}}).find("Anybody may stop"), std::string::npos);
  other.say({{"run", "stop"}, {"ask", 9}});
  EXPECT_EQ(other.hear("done").at("ask"), 9);
  EXPECT_EQ(refused(page, {{"run", "pause"}}), "It cannot.");
  page.say({{"act", {{"throttle", "1 V"}}}, {"ask", 3}});
  const Json done = page.hear("done");
  EXPECT_EQ(done.at("ask"), 3);
  EXPECT_EQ(done.at("line"), "{at: 1.5 s}");
  EXPECT_EQ(refused(page, {{"act", {{"brake", "on"}}}}), "No.");
  EXPECT_NE(refused(page, {{"open", "x"}}).find("one run"), std::string::npos);
  EXPECT_FALSE(refused(page, {{"view", {{"id", 99}}}}).empty());
  const Json state = page.hear_state([](const Json& s) { return s.at("you") == "driver"; });
  EXPECT_EQ(state.at("clients"), 2);

  page.say({{"trigger", {{"on", "fault"}}}});
  EXPECT_EQ(page.hear("armed"), true);
  served.run->mark();
  EXPECT_EQ(page.hear("caught").at("what"), "hall_line_open");
  EXPECT_EQ(other.hear("marks").at(0).at("name"), "hall_line_open");
}

TEST(PanelServer, ClosesWhoeverDoesNotKeepToTheRules) {
  const Served served("0123456789abcdef");
  const auto code = [&](const std::function<void(PageClient&)>& act) {
    PageClient page(served.port());
    EXPECT_TRUE(page.upgraded());
    act(page);
    while (page.hear()) {
    }
    return page.close_code();
  };
  const std::string token = "0123456789abcdef";
  EXPECT_EQ(code([](PageClient& page) { page.greet("wrong"); }), 4001U);
  EXPECT_EQ(code([](PageClient& page) { page.greet(); }), 4001U);
  EXPECT_EQ(code([](PageClient&) {}), 4002U) << "no hello in 5 s";
  EXPECT_EQ(code([&](PageClient& page) {
              page.say({{"hello", {{"protocol", 2}, {"token", token}}}});
            }),
            4003U);
  EXPECT_EQ(code([](PageClient& page) { page.say({{"drive", "take"}}); }), 4003U);
  EXPECT_EQ(code([](PageClient& page) { page.send("garbage", true); }), 4003U);
  EXPECT_EQ(code([&](PageClient& page) {
              page.greet(token);
              page.send("bytes", false);
            }),
            1003U);
  EXPECT_EQ(code([&](PageClient& page) {
              page.greet(token);
              page.send(std::string(4'097, ' '), true);
            }),
            1009U);
  EXPECT_EQ(code([&](PageClient& page) {
              page.greet(token);
              for (int k = 0; k < 200; ++k) page.say({{"drive", "release"}});
            }),
            1008U);
  PageClient page(served.port());
  EXPECT_FALSE(page.greet(token).is_null()) << "and the others are served";
}

TEST(PanelServer, TheSameClientComesBackToItsSeat) {
  const Served served;
  PageClient page(served.port()), other(served.port());
  const std::string id = page.greet().at("client");
  other.greet();
  page.say({{"drive", "take"}, {"ask", 1}});
  page.hear("done");
  page.vanish();
  other.hear_state([](const Json& s) { return s.at("clients") == 1; });
  other.say({{"drive", "take"}});
  EXPECT_FALSE(other.hear("refused").is_null()) << "within ten seconds";
  PageClient again(served.port());
  EXPECT_EQ(again.greet({}, id).at("client"), id);
  EXPECT_EQ(again.hear("state").at("you"), "driver");
  // Once more, while the other connection stands.
  PageClient third(served.port());
  third.greet({}, id);
  while (again.hear()) {
  }
  EXPECT_EQ(again.close_code(), 4004U);
  EXPECT_EQ(third.hear("state").at("you"), "driver");
  // A name that others see is no key.
  PageClient thief(served.port());
  EXPECT_NE(thief.greet({}, "1").at("client"), id);
  EXPECT_EQ(thief.hear("state").at("you"), "watcher");
}

// Content, not time, says that nobody was held up: what the quick reader got in its 90 frames is
// whole, and its run moved on with every one.
TEST(PanelServer, ASlowReaderHoldsNobodyUpAndNothingIsQueuedForIt) {
  const Served served;
  PageClient slow(served.port()), quick(served.port());
  slow.greet();
  for (int id = 0; id < 8; ++id) {
    Json view = scope(id);
    view["view"]["columns"] = 4'096;
    view["view"]["span_s"] = 100.0;
    view["view"]["signals"] = {"speed", "torque", "bus_voltage", "current_d", "current_q"};
    slow.say(view);
  }
  quick.greet();
  quick.say(scope());
  std::uint32_t next = 0;
  double from_s = -1e9;
  for (int k = 0; k < 90; ++k) {
    const std::string frame = quick.hear_frame();
    const FrameHeader header = header_of(frame);
    ASSERT_EQ(frame.size(), 64U + 16 * 100 + 100);
    EXPECT_EQ(header.sequence, next++);
    EXPECT_GT(header.from_s, from_s);
    from_s = header.from_s;
  }
  // 2.6 MB a round of its eight views, 30 rounds a second; the kernel holds a few MB at most.
  std::size_t missed = 0;
  while (missed == 0) {
    const Json state = slow.hear("state");
    ASSERT_FALSE(state.is_null());
    missed = state.at("missed_frames");
  }
  EXPECT_GT(missed, 0U);
}

TEST(PanelServer, FiftyPagesAreAllShownTheRunAndTheRestIsTurnedAway) {
  const Served served;
  std::vector<std::unique_ptr<PageClient>> pages;
  for (int k = 0; k < 50; ++k) {
    pages.push_back(std::make_unique<PageClient>(served.port()));
    ASSERT_FALSE(pages.back()->greet().is_null()) << k;
    pages.back()->say(scope());
  }
  for (auto& page : pages)
    for (int k = 0; k < 3; ++k) ASSERT_EQ(page->hear_frame().size(), 64U + 16 * 100 + 100);
  const Json state = pages.front()->hear_state([](const Json& s) { return s.at("clients") == 50; });
  EXPECT_FALSE(state.is_null());
  while (pages.size() < 64) pages.push_back(std::make_unique<PageClient>(served.port()));
  PageClient one_more(served.port());
  while (one_more.hear()) {
  }
  EXPECT_EQ(one_more.close_code(), 1013U);
  pages.resize(60);
  pages.front()->hear_state([](const Json&) { return true; });
}

/// Bytes of every kind, seeded: as HTTP, behind a handshake, as text messages.
void throw_garbage(const Served& served, int rounds, unsigned seed) {
  std::mt19937 random(seed);
  const auto bytes = [&](std::size_t most) {
    std::string text(random() % most, '\0');
    for (char& c : text) c = static_cast<char>(random());
    return text;
  };
  const std::string host = "127.0.0.1:" + std::to_string(served.port());
  for (int round = 0; round < rounds; ++round) {
    boost::asio::io_context io;
    boost::asio::ip::tcp::socket socket(io);
    socket.connect({boost::asio::ip::make_address("127.0.0.1"), served.port()});
    boost::beast::error_code ignored;
    const std::string upgrade = "GET /live HTTP/1.1\r\nHost: " + host + "\r\nOrigin: http://" +
                                host +
                                "\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
                                "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n"
                                "Sec-WebSocket-Version: 13\r\n\r\n";
    if (round % 3 != 0) boost::asio::write(socket, boost::asio::buffer(upgrade), ignored);
    boost::asio::write(socket, boost::asio::buffer(bytes(3'000)), ignored);
    if (round % 2 == 0) socket.shutdown(socket.shutdown_send, ignored);
    if (round % 5 == 0) {
      std::string answer(1'000, '\0');
      socket.read_some(boost::asio::buffer(answer), ignored);
    }
  }
  PageClient page(served.port());
  ASSERT_FALSE(page.greet().is_null());
  for (int round = 0; round < rounds / 10; ++round) {
    page.send(bytes(200), true);  // most is no UTF-8: the connection is closed for it
    page.send("{\"view\": " + bytes(50), true);
  }
  page.vanish();
  PageClient after(served.port());
  EXPECT_FALSE(after.greet().is_null());
  after.say(scope());
  EXPECT_FALSE(after.hear_frame().empty());
}

// The same for long with another seed: the test GarbageForLong asks for it.
TEST(PanelServer, GarbageEndsAConnectionAtMost) {
  const char* rounds = std::getenv("STILLROTOR_GARBAGE_ROUNDS");
  throw_garbage(Served(), rounds != nullptr ? std::stoi(rounds) : 200, rounds != nullptr ? 2 : 1);
}

// Half-open: it answers no pings. Beast asks after 10 s of silence and gives up after 20.
TEST(PanelServer, AConnectionThatAnswersNoPingIsGivenUp) {
  const Served served;
  PageClient dead(served.port()), alive(served.port());
  dead.greet();
  alive.greet();
  // `dead` is not read from here on: no pong. `alive` is.
  const Json state = alive.hear_state([](const Json& s) { return s.at("clients") == 1; });
  EXPECT_FALSE(state.is_null());
}

TEST(PanelServer, EndsWithPagesStillThere) {
  std::optional<Served> served(std::in_place);
  PageClient page(served->port());
  page.greet();
  page.say(scope());
  served.reset();
  while (page.hear()) {
  }
}

}  // namespace
}  // namespace stillrotor
