#include "emulator/host/findings.hpp"

#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <charconv>
#include <fstream>
#include <optional>
#include <sstream>
#include <string_view>

namespace stillrotor {
namespace {

namespace fs = std::filesystem;

constexpr int idle_most_us = 10;  // of leaving an idle state, beside periods of some 100 us

/// The file's text without the last line's end; nullopt: it cannot be read.
std::optional<std::string> text_of(const fs::path& file) {
  std::ifstream in(file);
  if (!in) return std::nullopt;
  std::ostringstream text;
  text << in.rdbuf();
  std::string all = text.str();
  while (!all.empty() && (all.back() == '\n' || all.back() == ' ')) all.pop_back();
  return all;
}

std::optional<long> number_of(const fs::path& file) {
  const auto text = text_of(file);
  long value = 0;
  if (!text || std::from_chars(text->data(), text->data() + text->size(), value).ec != std::errc())
    return std::nullopt;
  return value;
}

std::vector<fs::path> folders_in(const fs::path& folder) {
  std::vector<fs::path> found;
  std::error_code error;
  for (const auto& entry : fs::directory_iterator(folder, error)) found.push_back(entry.path());
  std::sort(found.begin(), found.end());
  return found;
}

bool is_number(std::string_view text) {
  return !text.empty() &&
         std::all_of(text.begin(), text.end(), [](char c) { return c >= '0' && c <= '9'; });
}

/// Is the core in a list such as "0,2-5"?
bool in_list(std::string_view list, int core) {
  while (!list.empty()) {
    const std::string_view part = list.substr(0, list.find(','));
    list.remove_prefix(std::min(list.size(), part.size() + 1));
    int from = 0, to = 0;
    const auto first = std::from_chars(part.data(), part.data() + part.size(), from);
    if (first.ec != std::errc()) continue;
    to = from;
    if (first.ptr != part.data() + part.size() && *first.ptr == '-')
      std::from_chars(first.ptr + 1, part.data() + part.size(), to);
    if (core >= from && core <= to) return true;
  }
  return false;
}

/// Looks into one host, finding by finding.
class Inspection {
 public:
  Inspection(const fs::path& root, const CycleSettings& settings)
      : proc_(root / "proc"),
        sys_(root / "sys"),
        cpus_(root / "sys/devices/system/cpu"),
        dev_(root / "dev"),
        own_(std::to_string(getpid())),
        core_(settings.core),
        priority_(settings.priority) {}

  std::vector<Finding> look() {
    preemption();
    isolation();
    governor();
    idle_states();
    threads_per_core();
    throttling();
    huge_pages();
    swap();
    interrupts();
    rivals();
    clock_source();
    virtualisation();
    wireless();
    return std::move(findings_);
  }

 private:
  void found(std::string what, std::string measured, std::string wanted, bool good,
             std::string remedy) {
    findings_.push_back({std::move(what), std::move(measured), std::move(wanted),
                         good ? Fitness::good : Fitness::advice,
                         good ? std::string() : std::move(remedy)});
  }

  void preemption() {
    const auto version = text_of(proc_ / "version");
    if (!version) return;
    const bool real_time = number_of(sys_ / "kernel/realtime").value_or(0) == 1 ||
                           version->find("PREEMPT_RT") != std::string::npos;
    std::string model = "none or voluntary";
    if (real_time)
      model = "PREEMPT_RT";
    else if (version->find("PREEMPT_DYNAMIC") != std::string::npos)
      model = "PREEMPT_DYNAMIC";
    else if (version->find("PREEMPT") != std::string::npos)
      model = "PREEMPT";
    found("kernel preemption", model, "PREEMPT_RT", real_time,
          "apt-get install linux-image-rt-amd64 (or -arm64), and start it; until then: "
          "preempt=full on the kernel's command line");
  }

  void isolation() {
    const auto isolated = text_of(cpus_ / "isolated");
    if (!isolated) return;
    const auto tickless = text_of(cpus_ / "nohz_full").value_or("");
    const int core = core_ >= 0 ? core_ : last_core();
    const std::string remedy = fmt::format(
        "isolcpus={0} nohz_full={0} rcu_nocbs={0} on the kernel's command line, cycle.core: {0} in "
        "the bench",
        core);
    if (core_ < 0)
      found("core of the cycle", "any", "an isolated one", false, remedy);
    else
      found("core of the cycle", fmt::format("{}, isolated: {}", core_, *isolated),
            "an isolated one", in_list(*isolated, core_), remedy);
    if (core_ >= 0)
      found("tick on that core", in_list(tickless, core_) ? "off" : "on", "off",
            in_list(tickless, core_), remedy);
  }

  int last_core() const {
    const auto online = text_of(cpus_ / "online").value_or("0");
    const std::size_t at = online.find_last_of(",-");
    const std::string_view last =
        std::string_view(online).substr(at == std::string::npos ? 0 : at + 1);
    int core = 0;
    std::from_chars(last.data(), last.data() + last.size(), core);
    return core;
  }

  bool concerns(const fs::path& cpu) const {
    const std::string name = cpu.filename().string();
    if (!name.starts_with("cpu") || !is_number(std::string_view(name).substr(3))) return false;
    return core_ < 0 || name == fmt::format("cpu{}", core_);
  }

  void governor() {
    std::string worst;
    for (const fs::path& cpu : folders_in(cpus_)) {
      if (!concerns(cpu)) continue;
      const auto governor = text_of(cpu / "cpufreq/scaling_governor");
      if (governor && (worst.empty() || *governor != "performance")) worst = *governor;
    }
    if (!worst.empty())
      found("clock governor", worst, "performance", worst == "performance",
            "cpupower frequency-set -g performance");
  }

  void idle_states() {
    long slowest = -1;
    for (const fs::path& cpu : folders_in(cpus_)) {
      if (!concerns(cpu)) continue;
      for (const fs::path& state : folders_in(cpu / "cpuidle"))
        if (number_of(state / "disable").value_or(0) == 0)
          slowest = std::max(slowest, number_of(state / "latency").value_or(-1));
    }
    if (slowest < 0) return;
    const bool kept_away = access((dev_ / "cpu_dma_latency").c_str(), W_OK) == 0;
    found("idle states",
          fmt::format("leaving takes up to {} us{}", slowest,
                      kept_away ? "; a run keeps the slow ones away" : ""),
          fmt::format("at most {} us, or /dev/cpu_dma_latency to be written", idle_most_us),
          slowest <= idle_most_us || kept_away,
          "the udev rule of docs/service.md; or: cpupower idle-set -D 10");
  }

  void threads_per_core() {
    const auto active = number_of(cpus_ / "smt/active");
    if (active)
      found("hardware threads", *active == 1 ? "two or more a core" : "one a core", "one a core",
            *active == 0, "echo off > /sys/devices/system/cpu/smt/control");
  }

  void throttling() {
    const auto runtime = number_of(proc_ / "sys/kernel/sched_rt_runtime_us");
    if (runtime)
      found("throttling of real-time threads",
            *runtime < 0 ? "off" : fmt::format("after {} us", *runtime), "off", *runtime < 0,
            "sysctl kernel.sched_rt_runtime_us=-1");
  }

  void huge_pages() {
    const auto enabled = text_of(sys_ / "kernel/mm/transparent_hugepage/enabled");
    if (!enabled) return;
    const bool always = enabled->find("[always]") != std::string::npos;
    found("transparent huge pages", always ? "always" : "not unasked", "not unasked", !always,
          "echo madvise > /sys/kernel/mm/transparent_hugepage/enabled");
  }

  void swap() {
    const auto swaps = text_of(proc_ / "swaps");
    if (!swaps) return;
    const auto lines = std::count(swaps->begin(), swaps->end(), '\n');
    found("swap", lines > 0 ? fmt::format("{} in use", lines) : "none", "none", lines == 0,
          "swapoff -a");
  }

  void interrupts() {
    bool balanced = false;
    for (const fs::path& process : folders_in(proc_))
      if (is_number(process.filename().string()) && text_of(process / "comm") == "irqbalance")
        balanced = true;
    if (fs::exists(proc_ / "irq"))
      found("irqbalance", balanced ? "runs" : "does not run", "does not run", !balanced,
            "systemctl disable --now irqbalance");
    if (core_ < 0) return;
    std::vector<std::string> here;
    for (const fs::path& irq : folders_in(proc_ / "irq"))
      if (const auto list = text_of(irq / "smp_affinity_list"); list && in_list(*list, core_))
        here.push_back(irq.filename().string());
    found("interrupts on the cycle's core", fmt::format("{} may come", here.size()), "0",
          here.empty(),
          here.empty() ? ""
                       : fmt::format("irqaffinity=0 on the kernel's command line; or for each "
                                     "(here {}): echo 0 > /proc/irq/N/smp_affinity_list",
                                     fmt::join(here, ", ")));
  }

  /// Threads of other programs that a cycle has to wait for. The kernel's own have no command line.
  void rivals() {
    std::size_t count = 0;
    std::string who;
    const auto processes = folders_in(proc_);
    if (processes.empty()) return;
    for (const fs::path& process : processes) {
      const std::string id = process.filename().string();
      if (!is_number(id) || id == own_ || text_of(process / "cmdline").value_or("").empty())
        continue;
      for (const fs::path& thread : folders_in(process / "task"))
        if (real_time_priority(thread / "stat") >= priority_) {
          ++count;
          who = text_of(process / "comm").value_or("?");
        }
    }
    found("other threads as urgent", count == 0 ? "none" : fmt::format("{}, one of {}", count, who),
          fmt::format("none of priority {} or more", priority_), count == 0,
          "ps -eLo rtprio,pid,comm | sort -n; a higher cycle.priority, or chrt on theirs");
  }

  /// Field 40 of proc_pid_stat(5), counted behind the name, which may hold spaces; 0: none.
  static int real_time_priority(const fs::path& stat) {
    const std::string text = text_of(stat).value_or("");
    const std::size_t name_end = text.rfind(')');
    if (name_end == std::string::npos) return 0;
    std::istringstream fields(text.substr(name_end + 1));
    std::string field;
    for (int k = 3; k <= 40; ++k) fields >> field;
    int priority = 0;
    std::from_chars(field.data(), field.data() + field.size(), priority);
    return fields ? priority : 0;
  }

  void clock_source() {
    const auto now = text_of(sys_ / "devices/system/clocksource/clocksource0/current_clocksource");
    if (!now) return;
    if (*now == "jiffies")
      findings_.push_back({"clock source", *now, "tsc or arch_sys_counter", Fitness::unfit,
                           "another kernel: without a fine timer no cycle is held"});
    else
      found("clock source", *now, "tsc or arch_sys_counter",
            *now == "tsc" || *now == "arch_sys_counter",
            "echo tsc > /sys/devices/system/clocksource/clocksource0/current_clocksource, where "
            "it is among the available_clocksource there");
  }

  void virtualisation() {
    const auto cpu = text_of(proc_ / "cpuinfo");
    if (!cpu) return;
    const bool guest =
        cpu->find(" hypervisor") != std::string::npos || fs::exists(sys_ / "hypervisor/type");
    found("virtual machine", guest ? "yes" : "no", "no", !guest,
          "run on the computer itself: a hypervisor takes cores away without notice");
  }

  void wireless() {
    for (const fs::path& interface : folders_in(sys_ / "class/net"))
      if (fs::exists(interface / "wireless") && text_of(interface / "operstate") == "up")
        found("wireless network", interface.filename().string() + " is up", "down", false,
              "rfkill block wifi");
  }

  fs::path proc_, sys_, cpus_, dev_;
  std::string own_;  // this process
  int core_, priority_;
  std::vector<Finding> findings_;
};

std::string us_text(std::int64_t ns) {
  return fmt::format("{:.1f} us", static_cast<double>(ns) * 1e-3);
}

}  // namespace

std::vector<Finding> look_at_host(const std::filesystem::path& root,
                                  const CycleSettings& settings) {
  return Inspection(root, settings).look();
}

std::vector<Finding> look_at_cycle(const CycleReport& cycle) {
  std::vector<Finding> findings;
  for (const MissingRight& right : cycle.missing_rights)
    findings.push_back({"rights", right.what, "granted", Fitness::unfit, right.remedy});
  const CycleCounts& counts = cycle.counts;
  const auto half_ns = static_cast<std::int64_t>(0.5e9 * cycle.settings.period_s);
  const auto measured = [&](std::string what, std::string value, std::string wanted, bool good,
                            std::string remedy) {
    findings.push_back({std::move(what), std::move(value), std::move(wanted),
                        good ? Fitness::good : Fitness::unfit,
                        good ? std::string() : std::move(remedy)});
  };
  const std::string slower = "the advice above; or a longer cycle.period";
  const std::int64_t wake = counts.wake.quantile_ns(0.9999);
  measured(
      "wake-up lateness",
      fmt::format("{} half, {} 99 %, {} 99.99 %, {} at most", us_text(counts.wake.quantile_ns(0.5)),
                  us_text(counts.wake.quantile_ns(0.99)), us_text(wake),
                  us_text(counts.wake.max_ns())),
      fmt::format("99.99 % within half a period, {}", us_text(half_ns)), wake <= half_ns, slower);
  const std::int64_t computing = counts.turn.quantile_ns(0.999);
  measured("computing a turn", fmt::format("{} 99.9 %", us_text(computing)),
           fmt::format("within half a period, {}", us_text(half_ns)), computing <= half_ns,
           "a longer cycle.period, a coarser plant.step_max, a lower record.rate");
  measured("missed periods",
           fmt::format("{} of {}", counts.missed_periods, counts.turns + counts.missed_periods),
           "0", counts.missed_periods == 0 && cycle.end == CycleEnd::complete, slower);
  measured("page faults in the cycle",
           std::to_string(cycle.use.minor_faults + cycle.use.major_faults), "0",
           cycle.use.minor_faults + cycle.use.major_faults == 0, "the right to lock memory");
  return findings;
}

bool fit(const std::vector<Finding>& findings) noexcept {
  return std::none_of(findings.begin(), findings.end(),
                      [](const Finding& f) { return f.fitness == Fitness::unfit; });
}

}  // namespace stillrotor
