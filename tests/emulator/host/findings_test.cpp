// Made-up computers: a tree of /proc and /sys each, and a report of a cycle.
#include "emulator/host/findings.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <fstream>

namespace stillrotor {
namespace {

namespace fs = std::filesystem;
using testing::HasSubstr;

class MadeUpHost : public ::testing::Test {
 protected:
  MadeUpHost() {
    std::string pattern = (fs::temp_directory_path() / "stillrotor-host-XXXXXX").string();
    if (mkdtemp(pattern.data()) == nullptr) throw std::runtime_error("no folder for the test");
    root_ = pattern;
  }
  ~MadeUpHost() override { fs::remove_all(root_); }

  void file(const std::string& path, const std::string& text) {
    fs::create_directories((root_ / path).parent_path());
    std::ofstream(root_ / path) << text << "\n";
  }
  /// A board set up as it should be: real-time kernel, core 3 alone.
  void tuned() {
    file("proc/version", "Linux version 6.1.0 (builder) #1 SMP PREEMPT_RT Debian");
    file("proc/cpuinfo", "processor\t: 0\nFeatures\t: fp asimd evtstrm");
    file("proc/sys/kernel/sched_rt_runtime_us", "-1");
    file("proc/swaps", "Filename\tType\tSize\tUsed\tPriority");
    file("proc/irq/12/smp_affinity_list", "0-2");
    file("proc/1/comm", "systemd");
    file("sys/kernel/mm/transparent_hugepage/enabled", "always [madvise] never");
    file("sys/devices/system/clocksource/clocksource0/current_clocksource", "arch_sys_counter");
    file("sys/class/net/eth0/operstate", "up");
    file(cpu + "isolated", "3");
    file(cpu + "nohz_full", "3");
    file(cpu + "online", "0-3");
    file(cpu + "smt/active", "0");
    for (const char* k : {"cpu0/", "cpu3/"}) {
      file(cpu + k + "cpufreq/scaling_governor", "performance");
      file(cpu + k + "cpuidle/state0/latency", "1");
      file(cpu + k + "cpuidle/state0/disable", "0");
    }
  }
  Finding find(const std::string& what, int core = 3) const {
    CycleSettings settings;
    settings.core = core;
    for (const Finding& f : look_at_host(root_, settings))
      if (f.what == what) return f;
    return {"absent", "", "", Fitness::unfit, ""};
  }
  /// One thing is changed on the tuned board: then this, and only this, is advised.
  void expect_advice(const std::string& what, const std::string& measured,
                     const std::string& remedy) const {
    CycleSettings settings;
    settings.core = 3;
    for (const Finding& f : look_at_host(root_, settings)) {
      if (f.what != what) {
        EXPECT_EQ(f.fitness, Fitness::good) << f.what << ": " << f.measured;
        continue;
      }
      EXPECT_EQ(f.fitness, Fitness::advice);
      EXPECT_THAT(f.measured, HasSubstr(measured));
      EXPECT_THAT(f.remedy, HasSubstr(remedy));
    }
    EXPECT_EQ(find(what).what, what);
  }

  const std::string cpu = "sys/devices/system/cpu/";
  fs::path root_;
};

TEST_F(MadeUpHost, TunedIsGoodInEverything) {
  tuned();
  CycleSettings settings;
  settings.core = 3;
  const auto findings = look_at_host(root_, settings);
  EXPECT_GE(findings.size(), 12U);
  for (const Finding& f : findings) {
    EXPECT_EQ(f.fitness, Fitness::good) << f.what << ": " << f.measured;
    EXPECT_EQ(f.remedy, "");
  }
  EXPECT_TRUE(fit(findings));
}

TEST_F(MadeUpHost, WithNothingToReadHasNothingToSay) {
  EXPECT_TRUE(look_at_host(root_, {}).empty());
}

TEST_F(MadeUpHost, OrdinaryKernelIsNamed) {
  tuned();
  file("proc/version", "Linux version 6.1.0 #1 SMP PREEMPT_DYNAMIC Debian");
  expect_advice("kernel preemption", "PREEMPT_DYNAMIC", "linux-image-rt");
}

TEST_F(MadeUpHost, RealTimeKernelIsKnownByItsFlagToo) {
  tuned();
  file("proc/version", "Linux version 5.10.0 #1 SMP");
  file("sys/kernel/realtime", "1");
  EXPECT_EQ(find("kernel preemption").measured, "PREEMPT_RT");
}

TEST_F(MadeUpHost, CoreThatIsNotIsolatedIsNamed) {
  tuned();
  file(cpu + "isolated", "1-2");
  expect_advice("core of the cycle", "3, isolated: 1-2", "isolcpus=3");
}

TEST_F(MadeUpHost, WithoutACoreTheLastOneIsProposed) {
  tuned();
  const Finding f = find("core of the cycle", -1);
  EXPECT_EQ(f.fitness, Fitness::advice);
  EXPECT_THAT(f.remedy, HasSubstr("cycle.core: 3"));
}

TEST_F(MadeUpHost, TickIsNamed) {
  tuned();
  file(cpu + "nohz_full", "(null)");
  expect_advice("tick on that core", "on", "nohz_full=3");
}

TEST_F(MadeUpHost, GovernorOfTheCyclesCoreCounts) {
  tuned();
  file(cpu + "cpu0/cpufreq/scaling_governor", "powersave");
  EXPECT_EQ(find("clock governor").fitness, Fitness::good);
  EXPECT_EQ(find("clock governor", -1).measured, "powersave");
  file(cpu + "cpu3/cpufreq/scaling_governor", "schedutil");
  expect_advice("clock governor", "schedutil", "cpupower frequency-set -g performance");
}

TEST_F(MadeUpHost, SlowIdleStatesAreNamedUnlessARunKeepsThemAway) {
  tuned();
  file(cpu + "cpu3/cpuidle/state2/latency", "600");
  file(cpu + "cpu3/cpuidle/state2/disable", "0");
  expect_advice("idle states", "600 us", "cpupower idle-set");
  file("dev/cpu_dma_latency", "");
  EXPECT_EQ(find("idle states").fitness, Fitness::good);
  fs::remove(root_ / "dev/cpu_dma_latency");
  file(cpu + "cpu3/cpuidle/state2/disable", "1");
  EXPECT_EQ(find("idle states").fitness, Fitness::good);
}

TEST_F(MadeUpHost, HardwareThreadsAreNamed) {
  tuned();
  file(cpu + "smt/active", "1");
  expect_advice("hardware threads", "two or more", "smt/control");
}

TEST_F(MadeUpHost, ThrottlingIsNamed) {
  tuned();
  file("proc/sys/kernel/sched_rt_runtime_us", "950000");
  expect_advice("throttling of real-time threads", "950000 us", "sched_rt_runtime_us=-1");
}

TEST_F(MadeUpHost, HugePagesUnaskedAreNamed) {
  tuned();
  file("sys/kernel/mm/transparent_hugepage/enabled", "[always] madvise never");
  expect_advice("transparent huge pages", "always", "madvise");
}

TEST_F(MadeUpHost, SwapIsNamed) {
  tuned();
  file("proc/swaps", "Filename\tType\n/dev/sda2 partition 1 0 -2");
  expect_advice("swap", "1 in use", "swapoff -a");
}

TEST_F(MadeUpHost, InterruptsOnTheCyclesCoreAreNamed) {
  tuned();
  file("proc/irq/14/smp_affinity_list", "0-3");
  expect_advice("interrupts on the cycle's core", "1 may come", "here 14");
}

TEST_F(MadeUpHost, IrqbalanceIsNamed) {
  tuned();
  file("proc/812/comm", "irqbalance");
  expect_advice("irqbalance", "runs", "systemctl disable --now irqbalance");
}

/// A thread's stat with 40 as rt_priority and SCHED_FIFO, as proc_pid_stat(5) has it.
std::string stat(const std::string& name, int priority) {
  std::string text = "900 (" + name + ") S";
  for (int field = 4; field < 40; ++field) text += " 0";
  return text + " " + std::to_string(priority) + " 1 0 0";
}

TEST_F(MadeUpHost, ThreadsAsUrgentAsTheCycleAreNamed) {
  tuned();
  file("proc/900/cmdline", "soundd");
  file("proc/900/comm", "soundd");
  file("proc/900/task/901/stat", stat("sound (out)", 79));
  file("proc/12/comm", "migration/0");  // the kernel's: no command line
  file("proc/12/task/12/stat", stat("migration/0", 99));
  EXPECT_EQ(find("other threads as urgent").fitness, Fitness::good);
  file("proc/900/task/902/stat", stat("sound (in)", 80));
  expect_advice("other threads as urgent", "1, one of soundd", "cycle.priority");
}

TEST_F(MadeUpHost, SlowClockSourceIsAdvisedAgainstAndJiffiesAreUnfit) {
  tuned();
  const std::string clock = "sys/devices/system/clocksource/clocksource0/current_clocksource";
  file(clock, "hpet");
  expect_advice("clock source", "hpet", "current_clocksource");
  file(clock, "jiffies");
  EXPECT_EQ(find("clock source").fitness, Fitness::unfit);
  EXPECT_FALSE(fit(look_at_host(root_, {})));
}

TEST_F(MadeUpHost, VirtualMachineIsNamed) {
  tuned();
  file("proc/cpuinfo", "flags\t\t: fpu vme hypervisor lahf_lm");
  expect_advice("virtual machine", "yes", "hypervisor");
}

TEST_F(MadeUpHost, WirelessNetworkThatIsUpIsNamed) {
  tuned();
  file("sys/class/net/wlan0/wireless/link", "");
  file("sys/class/net/wlan0/operstate", "up");
  expect_advice("wireless network", "wlan0", "rfkill");
}

/// 10,000 turns of 200 us, awake after 10 us each, but for `late` of `late_us`.
CycleReport cycle(int late = 0, std::int64_t late_us = 0) {
  CycleReport report;
  for (int k = 0; k < 10'000 - late; ++k) report.counts.wake.add(10'000);
  for (int k = 0; k < late; ++k) report.counts.wake.add(1000 * late_us);
  for (int k = 0; k < 10'000; ++k) report.counts.turn.add(24'000);
  report.counts.turns = 10'000;
  return report;
}

Finding of(const CycleReport& report, const std::string& what) {
  for (const Finding& f : look_at_cycle(report))
    if (f.what == what) return f;
  return {"absent", "", "", Fitness::good, ""};
}

TEST(MeasuredCycle, ThatHoldsItsPeriodIsFit) { EXPECT_TRUE(fit(look_at_cycle(cycle()))); }

// One in 10,000 is what 99.99 % leave over; two are not.
TEST(MeasuredCycle, IsUnfitWhenMoreThanOneInTenThousandIsLateByHalfAPeriod) {
  EXPECT_EQ(of(cycle(1, 150), "wake-up lateness").fitness, Fitness::good);
  const Finding two = of(cycle(2, 150), "wake-up lateness");
  EXPECT_EQ(two.fitness, Fitness::unfit);
  EXPECT_THAT(two.measured, HasSubstr("150.0 us at most"));
  EXPECT_THAT(two.remedy, HasSubstr("cycle.period"));
  EXPECT_EQ(of(cycle(2, 90), "wake-up lateness").fitness, Fitness::good);
}

TEST(MeasuredCycle, IsUnfitWhenItMissedAPeriodOrEndedEarly) {
  CycleReport missed = cycle(), early = cycle();
  missed.counts.missed_periods = 1;
  early.end = CycleEnd::fell_behind;
  EXPECT_EQ(of(missed, "missed periods").fitness, Fitness::unfit);
  EXPECT_EQ(of(early, "missed periods").fitness, Fitness::unfit);
}

TEST(MeasuredCycle, IsUnfitWhenComputingTakesMoreThanHalfThePeriod) {
  CycleReport slow = cycle();
  for (int k = 0; k < 100; ++k) slow.counts.turn.add(110'000);
  EXPECT_EQ(of(slow, "computing a turn").fitness, Fitness::unfit);
}

TEST(MeasuredCycle, IsUnfitWithoutRightsAndWithPageFaults) {
  CycleReport soft = cycle(), faults = cycle();
  soft.missing_rights = {{"Memory cannot be locked.", "Put it right."}};
  faults.use.minor_faults = 3;
  EXPECT_EQ(of(soft, "rights").remedy, "Put it right.");
  EXPECT_FALSE(fit(look_at_cycle(soft)));
  EXPECT_EQ(of(faults, "page faults in the cycle").fitness, Fitness::unfit);
}

}  // namespace
}  // namespace stillrotor
