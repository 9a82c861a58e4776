#include "tests/reference/ngspice/model/run_ngspice.hpp"

#include <fcntl.h>
#include <spawn.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <chrono>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <sstream>
#include <stdexcept>

extern char** environ;  // POSIX declares it nowhere

namespace stillrotor::reference {
namespace {

namespace fs = std::filesystem;

class TemporaryFolder {
 public:
  TemporaryFolder() {
    std::string name = (fs::temp_directory_path() / "stillrotor-ngspice-XXXXXX").string();
    if (mkdtemp(name.data()) == nullptr) throw std::runtime_error("no temporary folder: " + name);
    path_ = name;
  }
  TemporaryFolder(const TemporaryFolder&) = delete;
  TemporaryFolder& operator=(const TemporaryFolder&) = delete;
  ~TemporaryFolder() {
    std::error_code ignored;
    fs::remove_all(path_, ignored);
  }
  fs::path operator/(const char* name) const { return path_ / name; }

 private:
  fs::path path_;
};

std::string content(const fs::path& path) {
  std::ifstream file(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(file), {}};
}

double seconds(const timeval& t) {
  return static_cast<double>(t.tv_sec) + 1e-6 * static_cast<double>(t.tv_usec);
}

/// Runs to the end; processor seconds.
double run_to_end(const std::string& program, std::vector<std::string> arguments,
                  const std::string& log) {
  std::vector<char*> argv;
  for (std::string& a : arguments) argv.push_back(a.data());
  argv.push_back(nullptr);
  posix_spawn_file_actions_t actions;
  posix_spawn_file_actions_init(&actions);
  posix_spawn_file_actions_addopen(&actions, 0, "/dev/null", O_RDONLY, 0);
  posix_spawn_file_actions_addopen(&actions, 1, log.c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0600);
  posix_spawn_file_actions_adddup2(&actions, 1, 2);
  pid_t child = 0;
  const int failed = posix_spawn(&child, program.c_str(), &actions, nullptr, argv.data(), environ);
  posix_spawn_file_actions_destroy(&actions);
  if (failed != 0) throw std::runtime_error("cannot start ngspice: '" + program + "'");
  // A solution that does not converge creeps on for ever; no run of a test takes a tenth of this.
  const rlimit limit = {120, 120};
  prlimit(child, RLIMIT_CPU, &limit, nullptr);
  int status = 0;
  rusage used{};
  while (wait4(child, &status, 0, &used) < 0 && errno == EINTR) {
  }
  if (!WIFEXITED(status) || WEXITSTATUS(status) != 0)
    throw std::runtime_error("ngspice failed or took over 120 s:\n" + content(log));
  return seconds(used.ru_utime) + seconds(used.ru_stime);
}

/// The binary raw file: lines of text, "Binary:", then doubles point by point, time first.
void read_raw(const std::string& raw, SpiceRun& run) {
  const std::string mark = "Binary:\n";
  const std::size_t data = raw.find(mark);
  if (data == std::string::npos) throw std::runtime_error("ngspice wrote no binary waveforms");
  std::istringstream head(raw.substr(0, data));
  std::size_t variables = 0, points = 0;
  for (std::string line; std::getline(head, line);) {
    if (line.starts_with("No. Variables:")) variables = std::stoul(line.substr(14));
    if (line.starts_with("No. Points:")) points = std::stoul(line.substr(11));
  }
  const std::size_t bytes = variables * points * sizeof(double);
  if (variables < 2 || raw.size() < data + mark.size() + bytes)
    throw std::runtime_error("ngspice's waveforms are cut off");
  run.time_s.resize(points);
  run.saved.assign(variables - 1, std::vector<double>(points));
  const char* from = raw.data() + data + mark.size();
  const auto next = [&from] {
    double x = 0.0;
    std::copy(from, from + sizeof x, reinterpret_cast<char*>(&x));
    from += sizeof x;
    return x;
  };
  for (std::size_t n = 0; n < points; ++n) {
    run.time_s[n] = next();
    for (std::size_t v = 0; v + 1 < variables; ++v) run.saved[v][n] = next();
  }
}

}  // namespace

std::string ngspice_program() {
  const char* path = std::getenv("PATH");
  std::istringstream folders(path == nullptr ? "" : path);
  for (std::string folder; std::getline(folders, folder, ':');) {
    const std::string program = folder + "/ngspice";
    if (access(program.c_str(), X_OK) == 0) return program;
  }
  return {};
}

SpiceRun run_ngspice(const std::string& netlist) {
  const TemporaryFolder folder;
  const std::string circuit = folder / "drive.cir", raw = folder / "drive.raw",
                    log = folder / "log.txt";
  std::ofstream(circuit) << netlist;
  const auto begin = std::chrono::steady_clock::now();
  SpiceRun run;
  // -n: no start-up files of whoever runs this.
  run.cpu_s = run_to_end(ngspice_program(), {"ngspice", "-n", "-b", "-r", raw, circuit}, log);
  run.wall_s = std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count();
  if (!fs::exists(raw)) throw std::runtime_error("ngspice wrote nothing:\n" + content(log));
  read_raw(content(raw), run);
  return run;
}

}  // namespace stillrotor::reference
