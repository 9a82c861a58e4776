// The program itself with a panel: from the start on the page to the file of what was driven.
#include <gtest/gtest.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

#include <csignal>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <string>
#include <vector>

#include "emulator/record/record_reader.hpp"
#include "io/connector.hpp"
#include "tests/emulator/panel/page_client.hpp"

extern char** environ;

namespace stillrotor {
namespace {

namespace fs = std::filesystem;
using test::Json;
using test::PageClient;

const fs::path source = STILLROTOR_SOURCE_DIR;
const std::string bench = source / "configs/benches/orchard-cart-hub-stand-in.yaml";
const std::string session = source / "configs/scenarios/bench-session.yaml";

class Program {
 public:
  explicit Program(std::vector<std::string> arguments) {
    arguments.insert(arguments.begin(), fs::path(STILLROTOR_BUILD_DIR) / "stillrotor");
    std::vector<char*> argv;
    for (std::string& one : arguments) argv.push_back(one.data());
    argv.push_back(nullptr);
    int ends[2];
    EXPECT_EQ(pipe(ends), 0);
    posix_spawn_file_actions_t actions;
    posix_spawn_file_actions_init(&actions);
    posix_spawn_file_actions_adddup2(&actions, ends[1], STDERR_FILENO);
    posix_spawn_file_actions_addclose(&actions, ends[0]);
    EXPECT_EQ(posix_spawn(&id_, argv[0], &actions, nullptr, argv.data(), environ), 0);
    posix_spawn_file_actions_destroy(&actions);
    close(ends[1]);
    err_ = ends[0];
  }
  ~Program() {
    if (id_ > 0) {
      kill(id_, SIGKILL);
      waitpid(id_, nullptr, 0);
    }
    close(err_);
  }
  Program(const Program&) = delete;
  Program& operator=(const Program&) = delete;

  /// From "panel: http://127.0.0.1:PORT/"; 0: it ended without.
  std::uint16_t port() {
    for (char c = 0; read(err_, &c, 1) == 1;) {
      said_ += c;
      const std::size_t at = said_.find("panel: http://127.0.0.1:");
      if (c == '/' && at != std::string::npos && said_.find('/', at + 24) != std::string::npos)
        return static_cast<std::uint16_t>(std::stoi(said_.substr(at + 24)));
    }
    return 0;
  }
  void signal(int which) const { kill(id_, which); }
  int exit_status() {
    char some[4096];
    for (ssize_t got = 0; (got = read(err_, some, sizeof some)) > 0;)
      said_.append(some, static_cast<std::size_t>(got));
    int status = 0;
    waitpid(id_, &status, 0);
    id_ = -1;
    return WIFEXITED(status) ? WEXITSTATUS(status) : -WTERMSIG(status);
  }
  const std::string& said() const noexcept { return said_; }

 private:
  pid_t id_ = -1;
  int err_ = -1;
  std::string said_;
};

struct PanelRun : testing::Test {
  fs::path folder = fs::path(testing::TempDir()) / ("stillrotor_panel_" + std::to_string(getpid()));
  PanelRun() { fs::remove_all(folder); }
  ~PanelRun() override { fs::remove_all(folder); }
  Program run(std::vector<std::string> more = {}) {
    std::vector<std::string> all{"run", bench, session, "--panel", "--port",
                                 "0",   "-q",  "--out", folder};
    all.insert(all.end(), more.begin(), more.end());
    return Program(all);
  }
};

Json ask(PageClient& page, Json what) {
  static int number = 0;
  what["ask"] = ++number;
  page.say(what);
  for (;;) {
    const auto heard = page.hear();
    if (!heard) return nullptr;
    if (!heard->text) continue;
    const Json json = Json::parse(heard->bytes);
    for (const char* key : {"done", "refused"})
      if (json.contains(key) && json.at(key).value("ask", 0) == number) return json;
  }
}

TEST_F(PanelRun, WhatWasDrivenIsKeptAndGivesTheSameRunAgain) {
  Program program = run({"--pace", "wall"});
  const std::uint16_t port = program.port();
  ASSERT_NE(port, 0);
  std::vector<std::string> lines;
  {
    PageClient page(port);
    const Json welcome = page.greet();
    EXPECT_EQ(welcome.at("live"), true);
    EXPECT_EQ(welcome.at("clock"), "virtual");
    EXPECT_FALSE(welcome.at("actions").empty());
    EXPECT_FALSE(welcome.at("faults").empty());
    EXPECT_EQ(page.hear("state").at("phase"), "waiting");
    EXPECT_TRUE(ask(page, {{"run", "start"}}).contains("refused")) << "nobody has the seat";
    EXPECT_TRUE(ask(page, {{"drive", "take"}}).contains("done"));
    EXPECT_TRUE(ask(page, {{"run", "start"}}).contains("done"));
    page.hear_state([](const Json& s) { return s.at("phase") == "running"; });
    for (const Json& act : {Json{{"key", "on"}}, Json{{"throttle", "2.6 V"}, {"over", "100 ms"}},
                            Json{{"fault", "hall_line_open"}, {"line", "U"}},
                            Json{{"clear", "hall_line_open"}, {"line", "U"}}}) {
      const Json answer = ask(page, {{"act", act}});
      ASSERT_TRUE(answer.contains("done")) << answer;
      lines.push_back(answer.at("done").at("line"));
    }
    EXPECT_TRUE(ask(page, {{"act", {{"throttle", "99 V"}}}}).contains("refused"));
    EXPECT_TRUE(ask(page, {{"run", "pause"}}).contains("done"));
    const double paused_s =
        page.hear_state([](const Json& s) { return s.at("phase") == "paused"; }).at("t_s");
    EXPECT_TRUE(ask(page, {{"run", "step"}}).contains("done"));
    page.hear_state([&](const Json& s) { return s.at("t_s") > paused_s; });
    EXPECT_TRUE(ask(page, {{"run", "resume"}}).contains("done"));
    page.say(
        {{"view",
          {{"id", 0}, {"kind", "scope"}, {"signals", {"speed"}}, {"span_s", 1}, {"columns", 50}}}});
    EXPECT_EQ(page.hear_frame().size(), 64U + 16 * 50);
    EXPECT_TRUE(ask(page, {{"run", "stop"}}).contains("done"));
    const Json ended = page.hear_state([](const Json& s) { return s.at("report") == true; });
    EXPECT_EQ(ended.at("phase"), "ended");
    EXPECT_EQ(ended.at("verdict"), Json());
    EXPECT_EQ(ended.at("saved"), "driven-scenario.yaml");
    const std::string host =
        "Host: 127.0.0.1:" + std::to_string(port) + "\r\nConnection: close\r\n\r\n";
    EXPECT_TRUE(
        test::http(port, "GET /report.html HTTP/1.1\r\n" + host).starts_with("HTTP/1.1 200"));
    const std::string yaml = test::http(port, "GET /scenario.yaml HTTP/1.1\r\n" + host);
    for (const std::string& line : lines) EXPECT_NE(yaml.find(line), std::string::npos) << line;
    page.vanish();
  }
  EXPECT_EQ(program.exit_status(), 130) << program.said();
  const fs::path driven = folder / "driven-scenario.yaml", again = folder / "again";
  ASSERT_TRUE(fs::exists(driven));
  Program repeat({"run", bench, driven, "-q", "--out", again});
  ASSERT_EQ(repeat.exit_status(), 0) << repeat.said();
  const RecordReader first(folder), second(again);
  ASSERT_EQ(first.frames(), second.frames());
  ASSERT_GT(first.frames(), 1'000U);
  for (const Signal signal : {Signal::current_U, Signal::speed, Signal::throttle})
    EXPECT_EQ(first.values(signal, 0, first.frames()), second.values(signal, 0, first.frames()));
  for (std::uint16_t line = 0; line < io::line_count; ++line) {
    ASSERT_EQ(first.edges(line).size(), second.edges(line).size()) << line;
    for (std::size_t k = 0; k < first.edges(line).size(); ++k)
      ASSERT_EQ(first.edges(line)[k].at_ps, second.edges(line)[k].at_ps);
  }
}

TEST_F(PanelRun, IsStoppedBeforeItHasStartedAndByASignal) {
  {
    Program program = run();
    PageClient page(program.port());
    page.greet();
    EXPECT_TRUE(ask(page, {{"run", "stop"}}).contains("done"));
    page.vanish();
    EXPECT_EQ(program.exit_status(), 130) << program.said();
  }
  fs::remove_all(folder);
  Program program = run({"--start-now", "--pace", "wall"});
  PageClient page(program.port());
  page.greet();
  page.hear_state([](const Json& s) { return s.at("phase") == "running"; });
  program.signal(SIGTERM);
  EXPECT_EQ(program.exit_status(), 143) << program.said();
}

TEST_F(PanelRun, RefusesWhatItCannotServe) {
  struct Wrong {
    std::vector<std::string> options;
    const char* says;
    int status;
  };
  for (const Wrong& one : {Wrong{{"--listen", "0.0.0.0"}, "--token-file", 2},
                           Wrong{{"--listen", "bench"}, "in numbers", 2},
                           Wrong{{"--token-file", "/nowhere/token"}, "no such file", 2}}) {
    Program program = run(one.options);
    EXPECT_EQ(program.exit_status(), one.status) << program.said();
    EXPECT_NE(program.said().find(one.says), std::string::npos) << program.said();
    EXPECT_FALSE(fs::exists(folder)) << "nothing is left behind";
  }
}

}  // namespace
}  // namespace stillrotor
