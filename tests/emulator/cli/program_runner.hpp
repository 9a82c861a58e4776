// Calls the built program like a user does, and its folders and scenarios for short runs.
#pragma once

#include <csignal>
#include <filesystem>
#include <fstream>
#include <functional>
#include <sstream>
#include <string>
#include <vector>

#include <fcntl.h>
#include <gtest/gtest.h>
#include <sys/wait.h>
#include <unistd.h>

namespace stillrotor::test {

namespace fs = std::filesystem;

inline std::string read_text(const fs::path& file) {
  std::ifstream in(file, std::ios::binary);
  std::ostringstream text;
  text << in.rdbuf();
  return text.str();
}

inline void write_text(const fs::path& file, const std::string& text) {
  std::ofstream(file, std::ios::binary) << text;
}

struct Answer {
  int status = -1;  // exit status; 128 + n: killed by signal n
  std::string out, err;
};

/// A test with a folder of its own, in which the program runs.
class ProgramTest : public ::testing::Test {
 protected:
  ProgramTest() {
    std::string pattern = (fs::temp_directory_path() / "stillrotor-cli-XXXXXX").string();
    if (mkdtemp(pattern.data()) == nullptr) throw std::runtime_error("no folder for the test");
    folder_ = pattern;
  }
  ~ProgramTest() override {
    std::error_code ignored;
    fs::remove_all(folder_, ignored);
  }

  /// prepare runs in the child; meanwhile in the parent, with the child's number.
  Answer call(std::vector<std::string> arguments, const std::function<void(pid_t)>& meanwhile = {},
              const std::function<void()>& prepare = {}) {
    arguments.insert(arguments.begin(), STILLROTOR_BUILD_DIR "/stillrotor");
    const fs::path out = folder_ / "stdout.txt", err = folder_ / "stderr.txt";
    const pid_t child = fork();
    if (child == 0) {
      if (chdir(folder_.c_str()) != 0) _exit(99);
      if (prepare) prepare();
      dup2(open(out.c_str(), O_CREAT | O_TRUNC | O_WRONLY, 0600), STDOUT_FILENO);
      dup2(open(err.c_str(), O_CREAT | O_TRUNC | O_WRONLY, 0600), STDERR_FILENO);
      std::vector<char*> argv;
      for (auto& argument : arguments) argv.push_back(argument.data());
      argv.push_back(nullptr);
      execv(argv[0], argv.data());
      _exit(98);
    }
    if (meanwhile) meanwhile(child);
    int status = 0;
    waitpid(child, &status, 0);
    const int code = WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
    return {code, read_text(out), read_text(err)};
  }

  fs::path path(const std::string& name) const { return folder_ / name; }

  /// The shipped bench with the built-in six-step controller.
  static std::string bench() {
    return STILLROTOR_SOURCE_DIR "/configs/benches/orchard-cart-hub-stand-in.yaml";
  }

  /// A scenario file: drives off at once. `expect` are YAML list entries.
  std::string scenario(const std::string& lasts, const std::string& expect = "") {
    const fs::path file = path("drive-off.yaml");
    write_text(file, "scenario: Drive off\nlasts: " + lasts +
                         "\nstart: {speed: 0 rpm, key: on}\ntimeline:\n"
                         "  - {at: 20 ms, throttle: 2.2 V, over: 20 ms}\n" +
                         (expect.empty() ? "" : "expect:\n" + expect));
    return file.string();
  }

 private:
  fs::path folder_;
};

}  // namespace stillrotor::test
