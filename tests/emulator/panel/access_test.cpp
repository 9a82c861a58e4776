// Who may have what, and what is understood of what pages say.
#include <gtest/gtest.h>
#include <sys/stat.h>

#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>

#include "emulator/bench/input_error.hpp"
#include "emulator/panel/access.hpp"
#include "emulator/panel/rate_limit.hpp"
#include "emulator/panel/request.hpp"
#include "emulator/panel/seat.hpp"

namespace stillrotor {
namespace {

namespace fs = std::filesystem;
using namespace std::chrono_literals;
constexpr auto time_0 = std::chrono::steady_clock::time_point{};

struct Asked {
  const char* listen;
  std::vector<std::string> host, origin, authorization;
  std::string target;
  bool upgrade;
  unsigned refused;
};

TEST(PanelAccess, RefusesOtherHostsOtherPagesAndDocumentsWithoutToken) {
  const std::string token = "0123456789abcdef";
  const std::vector<std::string> none;
  const Asked table[] = {
      {"127.0.0.1", {"127.0.0.1:8642"}, none, none, "/", false, 0},
      {"127.0.0.1", {"localhost:8642"}, none, none, "/app.css", false, 0},
      {"127.0.0.1", {"LOCALHOST:8642"}, none, none, "/", false, 0},
      {"127.0.0.1", {"[::1]:8642"}, none, none, "/", false, 0},
      {"127.0.0.1", {"127.0.0.1"}, none, none, "/", false, 421},
      {"127.0.0.1", {"127.0.0.1:80"}, none, none, "/", false, 421},
      {"127.0.0.1", {"127.0.0.1:86420"}, none, none, "/", false, 421},
      {"127.0.0.1", {"evil.example:8642"}, none, none, "/", false, 421},
      {"127.0.0.1", {"127.0.0.1.evil.example:8642"}, none, none, "/", false, 421},
      {"127.0.0.1", {"localhost:8642", "evil.example:8642"}, none, none, "/", false, 421},
      {"127.0.0.1", {"10.0.0.7:8642"}, none, none, "/", false, 421},
      {"127.0.0.1", none, none, none, "/", false, 421},
      {"127.0.0.1", {""}, none, none, "/", false, 421},
      {"127.0.0.1", {"[::1"}, none, none, "/", false, 421},
      {"10.0.0.7", {"10.0.0.7:8642"}, none, none, "/", false, 0},
      {"10.0.0.7", {"10.0.0.8:8642"}, none, none, "/", false, 421},
      {"0.0.0.0", {"10.0.0.7:8642"}, none, none, "/", false, 0},
      {"0.0.0.0", {"bench.example:8642"}, none, none, "/", false, 421},
      {"::", {"[fe80::1]:8642"}, none, none, "/", false, 0},
      // the WebSocket
      {"127.0.0.1", {"localhost:8642"}, {"http://localhost:8642"}, none, "/live", true, 0},
      {"127.0.0.1", {"localhost:8642"}, none, none, "/live", true, 403},
      {"127.0.0.1", {"localhost:8642"}, {"null"}, none, "/live", true, 403},
      {"127.0.0.1", {"localhost:8642"}, {"http://evil.example"}, none, "/live", true, 403},
      {"127.0.0.1", {"localhost:8642"}, {"https://localhost:8642"}, none, "/live", true, 403},
      {"127.0.0.1", {"localhost:8642"}, {"http://127.0.0.1:8642"}, none, "/live", true, 403},
      {"127.0.0.1", {"localhost:8642"}, {"http://localhost:9"}, none, "/live", true, 403},
      {"127.0.0.1", {"localhost:8642"}, {"http://localhost:8642"}, none, "/other", true, 404},
      // documents
      {"10.0.0.7", {"10.0.0.7:8642"}, none, none, "/report.html", false, 401},
      {"10.0.0.7", {"10.0.0.7:8642"}, none, {"Bearer " + token}, "/report.html", false, 0},
      {"10.0.0.7", {"10.0.0.7:8642"}, none, {"Bearer "}, "/scenario.yaml", false, 401},
      {"10.0.0.7", {"10.0.0.7:8642"}, none, {token}, "/scenario.yaml", false, 401},
      {"10.0.0.7", {"10.0.0.7:8642"}, none, {"Bearer x" + token}, "/report.html", false, 401},
      {"10.0.0.7", {"10.0.0.7:8642"}, none, none, "/runs/a/report.html", false, 401},
  };
  for (const Asked& one : table) {
    SCOPED_TRACE(testing::PrintToString(one.host) + testing::PrintToString(one.origin) +
                 one.target);
    const bool loopback = is_loopback(one.listen);
    const AccessRules rules({one.listen, 8642}, loopback ? "" : token);
    EXPECT_EQ(
        rules.refusal({true, one.upgrade, one.target, one.host, one.origin, one.authorization}),
        one.refused);
  }
  const AccessRules rules({}, "");
  EXPECT_EQ(rules.refusal({false, false, "/", {"localhost:8642"}, {}, {}}), 405U);
  EXPECT_TRUE(rules.token_fits("")) << "none is needed";
}

TEST(PanelAccess, ComparesTokensWhole) {
  EXPECT_TRUE(token_fits("0123456789abcdef", "0123456789abcdef"));
  for (const char* wrong : {"", "0", "0123456789abcdeF", "0123456789abcdef0", "0123456789abcde"})
    EXPECT_FALSE(token_fits("0123456789abcdef", wrong)) << wrong;
  EXPECT_FALSE(token_fits("", ""));
  const std::string made = make_token();
  EXPECT_EQ(made.size(), 32U);
  EXPECT_NE(made, make_token());
}

TEST(PanelAccess, ReadsATokenThatNobodyElseCanRead) {
  const fs::path file = fs::path(testing::TempDir()) / "stillrotor_panel_token";
  const auto write = [&](const std::string& text, mode_t mode) {
    fs::remove(file);
    std::ofstream(file, std::ios::binary) << text;
    chmod(file.c_str(), mode);
  };
  write("0123456789abcdef\n", 0600);
  EXPECT_EQ(read_token(file), "0123456789abcdef");
  const auto why = [&] {
    try {
      read_token(file);
    } catch (const InputError& error) {
      return std::string(error.what());
    }
    return std::string("taken");
  };
  write("0123456789abcdef\n", 0640);
  EXPECT_NE(why().find("chmod 600"), std::string::npos) << why();
  for (const std::string& text :
       {std::string("short"), std::string(300, 'a'), std::string(),
        std::string("0123456789 abcdef"), std::string("0123456789abcd\xC3\xA4")}) {
    write(text, 0600);
    EXPECT_NE(why().find("16 to 256"), std::string::npos) << text;
  }
  fs::remove(file);
  EXPECT_NE(why().find("no such file"), std::string::npos);
  EXPECT_THROW(require_address("bench.example"), InputError);
  EXPECT_THROW(require_address(""), InputError);
  EXPECT_NO_THROW(require_address("::1"));
}

TEST(PanelSeat, HasOneDriverAndIsKeptForTenSeconds) {
  DriversSeat seat;
  EXPECT_TRUE(seat.take("a", time_0));
  EXPECT_TRUE(seat.take("a", time_0));
  EXPECT_FALSE(seat.take("b", time_0));
  seat.release("b");
  EXPECT_EQ(seat.holder(time_0), "a");
  seat.connection_lost("b", time_0);
  seat.connection_lost("a", time_0);
  EXPECT_FALSE(seat.take("b", time_0 + 9s));
  seat.came_back("a", time_0 + 9s);
  EXPECT_EQ(seat.holder(time_0 + 100s), "a");
  seat.connection_lost("a", time_0 + 100s);
  EXPECT_TRUE(seat.take("b", time_0 + 110s));
  seat.came_back("a", time_0 + 111s);
  EXPECT_EQ(seat.holder(time_0 + 111s), "b");
  seat.release("b");
  EXPECT_EQ(seat.holder(time_0 + 111s), "");
}

// By hand: 40 at once; then 20 a second.
TEST(PanelRateLimit, LetsFortyThroughAtOnceAndTwentyASecond) {
  RateLimit limit(20.0, 40.0);
  int through = 0;
  for (int k = 0; k < 100; ++k) through += limit.take(time_0);
  EXPECT_EQ(through, 40);
  for (int k = 1; k <= 100; ++k) through += limit.take(time_0 + k * 10ms);
  EXPECT_NEAR(through, 60, 1);
}

const std::vector<std::uint16_t> lines{0, 6};

TEST(PanelRequest, UnderstandsWhatIsRight) {
  const char* const right[] = {
      R"({"hello": {"protocol": 1}})",
      R"({"hello": {"protocol": 1, "token": "abc", "client": "xyz"}})",
      R"({"view": {"id": 0, "kind": "scope", "signals": ["phase_current.U"], "lines": ["gates.UH"],
          "span_s": 0.02, "end_s": null, "columns": 1200}})",
      R"({"view": {"id": 7, "kind": "scope", "signals": [], "span_s": 1, "end_s": 12.5, "columns": 1}})",
      R"({"view": {"id": 1, "kind": "samples", "signals": ["current_d"], "count": 16}})",
      R"({"view": {"id": 2, "kind": "stream", "signals": ["torque_mean"]}, "ask": 4294967295})",
      R"({"view": {"id": 1, "kind": "off"}})",
      R"({"trigger": {"on": "level", "signal": "speed", "level": -3}})",
      R"({"trigger": {"on": "edge", "line": "hall.U", "slope": "either", "before": 1, "single": false}})",
      R"({"trigger": {"on": "off"}})",
      R"({"drive": "take"})",
      R"({"act": {"throttle": "2.6 V", "over": "300 ms"}, "ask": 17})",
      R"({"run": "step", "ask": 0})",
      R"({"open": "some run"})"};
  for (const char* text : right) {
    const auto read = read_request(text, lines);
    EXPECT_TRUE(std::holds_alternative<Request>(read))
        << text << "\n"
        << (std::holds_alternative<Misunderstood>(read) ? std::get<Misunderstood>(read).why : "");
  }
}

TEST(PanelRequest, SaysOfWhatIsWrongWhatIsAllowed) {
  const std::pair<const char*, const char*> wrong[] = {
      {"", "no JSON object"},
      {"[]", "no JSON object"},
      {"{\"hello\"", "no JSON object"},
      {"{}", "one of hello, view"},
      {R"({"hallo": {}})", "one of hello, view"},
      {R"({"hello": {"protocol": 1}, "drive": "take"})", "one of hello, view"},
      {R"({"hello": 1})", "allowed: an object"},
      {R"({"hello": {"protocol": "1"}})", "a whole number"},
      {R"({"hello": {"protocol": 1, "tokn": ""}})", "unknown key \"tokn\""},
      {R"({"hello": {"protocol": 1, "token": 5}})", "a text"},
      {R"({"view": {"id": 8, "kind": "off"}})", "0 to 7"},
      {R"({"view": {"id": -1, "kind": "off"}})", "0 to 7"},
      {R"({"view": {"id": 0, "kind": "Scope"}})", "off, scope, samples, stream"},
      {R"({"view": {"id": 0, "kind": "scope", "signals": ["phase_curent.U"], "span_s": 1, "columns": 9}})",
       "Did you mean phase_current.U?"},
      {R"({"view": {"id": 0, "kind": "scope", "lines": ["lamp"], "span_s": 1, "columns": 9}})",
       "what the welcome names"},
      {R"({"view": {"id": 0, "kind": "scope", "span_s": 0, "columns": 9}})", "view.span_s is 0"},
      {R"({"view": {"id": 0, "kind": "scope", "span_s": 1e300, "columns": 9}})", "view.span_s"},
      {R"({"view": {"id": 0, "kind": "scope", "span_s": 1, "columns": 100000}})", "1 to 4096"},
      {R"({"view": {"id": 0, "kind": "scope", "span_s": 1, "columns": 9.5}})", "1 to 4096"},
      {R"({"view": {"id": 0, "kind": "stream", "signals": []}})", "at least one"},
      {R"({"view": {"id": 0, "kind": "stream", "signals": "speed"}})", "a list"},
      {R"({"view": {"id": 0, "kind": "samples", "signals": ["speed"], "count": 1}})",
       "16 to 65536"},
      {R"({"trigger": {"on": "level", "signal": "speed"}})", "trigger.level is missing"},
      {R"({"trigger": {"on": "level", "level": 1}})", "trigger.signal"},
      {R"({"trigger": {"on": "edge"}})", "trigger.line"},
      {R"({"trigger": {"on": "fault", "before": 2}})", "0 to 1"},
      {R"({"trigger": {"on": "fault", "single": 1}})", "true or false"},
      {R"({"drive": true})", "release, take"},
      {R"({"act": {}})", "1 to 16"},
      {R"({"act": {"throttle": 2.6}})", "a text with its unit"},
      {R"({"run": "go"})", "start, pause, resume, step, stop"},
      {R"({"run": "start", "ask": -1})", "0 to 4294967295"},
      {R"({"open": {}})", "a text"},
      {"{\"open\": \"\xFF\"}", "no JSON object"}};
  for (const auto& [text, says] : wrong) {
    const auto read = read_request(text, lines);
    ASSERT_TRUE(std::holds_alternative<Misunderstood>(read)) << text;
    const std::string& why = std::get<Misunderstood>(read).why;
    EXPECT_NE(why.find(says), std::string::npos) << text << "\n" << why;
  }
  EXPECT_EQ(std::get<Misunderstood>(read_request(R"({"act": {}, "ask": 7})", lines)).ask, 7U);
}

TEST(PanelRequest, ComesBackFromAnything) {
  std::string deep(panel_limit::message_bytes - 20, '[');
  EXPECT_TRUE(
      std::holds_alternative<Misunderstood>(read_request("{\"open\":" + deep + "}", lines)));
  deep = "{\"open\":" + std::string(1'900, '[') + std::string(1'900, ']') + "}";
  EXPECT_TRUE(std::holds_alternative<Misunderstood>(read_request(deep, lines)));
  EXPECT_TRUE(std::holds_alternative<Misunderstood>(read_request(std::string(5'000, ' '), lines)));
  // Right ones with bytes changed, cut and doubled.
  const std::string seeds[] = {
      R"({"view": {"id": 0, "kind": "scope", "signals": ["phase_current.U"], "span_s": 0.02, "columns": 1200}})",
      R"({"trigger": {"on": "level", "signal": "speed", "level": 12.5, "single": true}, "ask": 3})",
      R"({"act": {"throttle": "2.6 V", "over": "300 ms"}, "ask": 17})"};
  std::mt19937 random(5);
  int understood = 0;
  for (int round = 0; round < 20'000; ++round) {
    std::string text = seeds[random() % 3];
    for (auto changes = random() % 4; changes > 0; --changes) {
      const std::size_t at = random() % text.size();
      switch (random() % 3) {
        case 0:
          text[at] = static_cast<char>(random());
          break;
        case 1:
          text.erase(at, random() % 5);
          break;
        default:
          text.insert(at, text.substr(random() % text.size(), random() % 8));
      }
      if (text.empty()) break;
    }
    const auto read = read_request(text, lines);
    understood += std::holds_alternative<Request>(read);
    const auto* wrong = std::get_if<Misunderstood>(&read);
    EXPECT_TRUE(wrong == nullptr || !wrong->why.empty()) << text;
  }
  EXPECT_GT(understood, 1'000);
  EXPECT_LT(understood, 19'000);
}

}  // namespace
}  // namespace stillrotor
