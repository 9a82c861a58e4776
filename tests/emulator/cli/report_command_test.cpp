// `report`, `compare` and `baseline` as a user meets them: of whole runs, of stopped ones, of what
// is no run.
#include <gmock/gmock.h>

#include <algorithm>

#include "emulator/record/hdf5.hpp"
#include "tests/emulator/cli/program_runner.hpp"

namespace stillrotor::test {
namespace {

using testing::AllOf;
using testing::HasSubstr;

class ReportCommand : public ProgramTest {
 protected:
  void run_it() {
    write_text(path("drive.yaml"), "scenario: It drives\nlasts: 0.2 s\n");
    ASSERT_EQ(call({"run", bench(), path("drive.yaml").string(), "--out", "kept"}).status, 0);
  }
};

TEST_F(ReportCommand, WritesTheSamePageAgain) {
  run_it();
  const std::string first = read_text(path("kept/report.html"));
  EXPECT_NE(first.find("</html>"), std::string::npos);
  fs::remove(path("kept/report.html"));
  const Answer answer = call({"report", "kept"});
  EXPECT_EQ(answer.status, 0) << answer.err;
  EXPECT_EQ(answer.out, "kept/report.html\n");
  EXPECT_TRUE(read_text(path("kept/report.html")) == first);
  EXPECT_EQ(call({"report", "kept", "--out", "page.html"}).status, 0);
  EXPECT_TRUE(read_text(path("page.html")) == first);
}

TEST_F(ReportCommand, OfAStoppedRunSaysSo) {
  run_it();
  fs::remove(path("kept/result.json"));
  EXPECT_EQ(call({"report", "kept"}).status, 0);
  EXPECT_NE(read_text(path("kept/report.html")).find("There is no verdict in this folder."),
            std::string::npos);
}

TEST_F(ReportCommand, RefusesWhatIsNoRun) {
  const Answer nowhere = call({"report", "nowhere"});
  EXPECT_EQ(nowhere.status, 2);
  EXPECT_THAT(nowhere.err, HasSubstr("nowhere is no folder"));
  fs::create_directory(path("empty"));
  EXPECT_EQ(call({"report", "empty"}).status, 2);
  run_it();
  EXPECT_EQ(call({"report", "kept", "--out", "no/such/place.html"}).status, 4);
  write_text(path("kept/result.json"), "{");
  const Answer damaged = call({"report", "kept"});
  EXPECT_EQ(damaged.status, 2);
  EXPECT_THAT(damaged.err, HasSubstr("result.json is damaged"));
}

class CompareCommand : public ProgramTest {
 protected:
  /// Halls that jitter and currents that hiss: a seed makes a difference.
  void run(const std::string& out, int seed, const std::string& set = "",
           const std::string& limit = "60 A", const std::string& name = "Drive off") {
    write_text(path("drive.yaml"),
               "scenario: " + name + "\nlasts: 400 ms\nseed: " + std::to_string(seed) +
                   "\nstart: {speed: 60 rpm, key: on}\ntimeline:\n"
                   "  - {at: 20 ms, throttle: 2.6 V, over: 20 ms}\n"
                   "  - {at: 350 ms, brake: on}\nexpect:\n"
                   "  - {measure: phase_current_rms, from: 100 ms, to: 300 ms, min: " +
                   limit + "}\n");
    std::vector<std::string> words{"run",
                                   bench(),
                                   path("drive.yaml").string(),
                                   "--out",
                                   out,
                                   "--set",
                                   "sensors.hall.jitter=2 deg",
                                   "--set",
                                   "sensors.phase_current.noise=20 mV"};
    if (!set.empty()) words.insert(words.end(), {"--set", set});
    const Answer answer = call(words);
    ASSERT_LE(answer.status, 1) << answer.err;
  }
  Answer compare(std::vector<std::string> words) {
    words.insert(words.begin(), "compare");
    return call(words);
  }
};
constexpr const char* less_current = "controller.current_limit=40 A";

// Same bench, seed and firmware: the same to the byte. A lower current limit changes the verdict,
// and the verdict stands before everything that it moved; what was set stands above it.
TEST_F(CompareCommand, TellsTheSameFromTheChangedMostImportantFirst) {
  run("one", 1, "", "36 A");
  run("again", 1, "", "36 A");
  const Answer same = compare({"one", "again"});
  EXPECT_EQ(same.status, 0) << same.out << same.err;
  EXPECT_THAT(same.out, AllOf(HasSubstr("The same."), HasSubstr("no band is known")));

  run("less", 1, less_current, "36 A");
  const Answer changed = compare({"one", "less"});
  EXPECT_EQ(changed.status, 1) << changed.out << changed.err;
  EXPECT_THAT(changed.out,
              AllOf(HasSubstr("Different."), HasSubstr("current_limit=40 A"),
                    HasSubstr("the run is FAIL, was PASS"), HasSubstr("is FAIL, was PASS"),
                    HasSubstr("back_emf.U: by up to")));
  const auto place = [&](const char* title) { return changed.out.find(title); };
  EXPECT_LT(place("Set otherwise"), place("\nVerdicts"));
  EXPECT_LT(place("\nVerdicts"), place("\nMeasures"));
  EXPECT_LT(place("\nMeasures"), place("\nSignals"));
  EXPECT_NE(place("\nSignals"), std::string::npos);
  EXPECT_LT(std::count(changed.out.begin(), changed.out.end(), '\n'), 66);  // a page

  run("other", 1, "", "36 A", "Another drive");
  const Answer other = compare({"one", "other"});
  EXPECT_EQ(other.status, 3) << other.err;
  EXPECT_THAT(other.out, HasSubstr("other scenario: \"Drive off\" and \"Another drive\""));
  run("stricter", 1, "", "25 A");
  EXPECT_THAT(compare({"one", "stricter"}).out, HasSubstr("other scenario under one name"));
  EXPECT_EQ(compare({"one", "nothing"}).status, 2);
  EXPECT_EQ(compare({"one"}).status, 2);
}

/// The last edge of a line in a folder's record, a picosecond later.
void delay_last_edge(const fs::path& folder, const char* line) {
  const Hdf5Lock lock;
  const Hdf5Handle file(H5Fopen((folder / "record.h5").c_str(), H5F_ACC_RDWR, H5P_DEFAULT),
                        &H5Fclose, "record");
  const Hdf5Handle edges(H5Dopen2(file.get(), line, H5P_DEFAULT), &H5Dclose, line);
  const Hdf5Handle space(H5Dget_space(edges.get()), &H5Sclose, line);
  hsize_t count = 0;
  H5Sget_simple_extent_dims(space.get(), &count, nullptr);
  ASSERT_GT(count, 0U);
  const hsize_t last = count - 1, one = 1;
  check_hdf5(H5Sselect_hyperslab(space.get(), H5S_SELECT_SET, &last, nullptr, &one, nullptr), line);
  const Hdf5Handle memory(H5Screate_simple(1, &one, nullptr), &H5Sclose, line);
  const Hdf5Handle time(H5Tcreate(H5T_COMPOUND, sizeof(std::int64_t)), &H5Tclose, line);
  check_hdf5(H5Tinsert(time.get(), "t_ps", 0, H5T_NATIVE_INT64), line);
  std::int64_t t_ps = 0;
  check_hdf5(H5Dread(edges.get(), time.get(), memory.get(), space.get(), H5P_DEFAULT, &t_ps), line);
  ++t_ps;
  check_hdf5(H5Dwrite(edges.get(), time.get(), memory.get(), space.get(), H5P_DEFAULT, &t_ps),
             line);
}

// Folders of before signals were summed up as they are: what the sums cannot tell, the records do.
TEST_F(CompareCommand, LooksAtTheRecordsWhereSumsAreOfDifferentKinds) {
  run("one", 1);
  run("old", 1);
  std::string result = read_text(path("old/result.json"));
  const std::string key = "signals_xxh128";
  ASSERT_NE(result.find(key), std::string::npos);
  result.replace(result.find(key), key.size(), "signals_sha256");
  write_text(path("old/result.json"), result);
  const Answer same = compare({"one", "old"});
  EXPECT_EQ(same.status, 0) << same.out << same.err;
  EXPECT_THAT(same.out, HasSubstr("The same."));
  const Answer page = call({"report", "old"});
  EXPECT_EQ(page.status, 0) << page.err;

  delay_last_edge(path("old"), "edges/gates.UH");
  const Answer other = compare({"one", "old"});
  EXPECT_EQ(other.status, 1) << other.out << other.err;
  EXPECT_THAT(other.out, HasSubstr("edges of lines differ"));
}

// Eight seeds make the bands; a ninth lies within, in both forms; less current does not.
TEST_F(CompareCommand, HoldsARunAgainstBandsFromRepeats) {
  std::vector<std::string> accept{"baseline", "accept"};
  std::vector<std::string> repeats{"seed1", "seed9", "--repeats"};
  for (int seed = 1; seed <= 9; ++seed) {
    const std::string name = "seed" + std::to_string(seed);
    run(name, seed, "", "10 A");
    if (seed == 9) continue;
    accept.push_back(name);
    if (seed > 1) repeats.push_back(name);
  }
  EXPECT_EQ(compare({"seed1", "seed9"}).status, 1);  // exactly compared, a seed is a difference
  accept.insert(accept.end(), {"--out", "drive.json"});
  const Answer accepted = call(accept);
  ASSERT_EQ(accepted.status, 0) << accepted.err;
  EXPECT_THAT(accepted.out, AllOf(HasSubstr("8 runs"), HasSubstr("8 seeds"), HasSubstr("PASS")));
  const std::string file = read_text(path("drive.json"));
  std::reverse(accept.begin() + 2, accept.begin() + 10);
  call(accept);
  EXPECT_EQ(read_text(path("drive.json")), file);  // whatever the order

  const Answer within = compare({"seed9", "--baseline", "drive.json"});
  EXPECT_EQ(within.status, 0) << within.out << within.err;
  const Answer repeated = compare(repeats);
  EXPECT_EQ(repeated.status, 0) << repeated.out << repeated.err;
  EXPECT_THAT(repeated.out, HasSubstr("Bands from 8 runs"));

  run("less", 10, less_current, "10 A");
  for (const Answer& beyond :
       {compare({"less", "--baseline", "drive.json"}),
        compare({"seed1", "less", "--repeats", "seed2", "seed3", "seed4"})}) {
    EXPECT_EQ(beyond.status, 1) << beyond.out << beyond.err;
    EXPECT_THAT(beyond.out, AllOf(HasSubstr("torque_mean: "), HasSubstr(" bands")));
  }

  EXPECT_THAT(call({"baseline", "accept", "seed1", "seed2", "--out", "few.json"}).err,
              HasSubstr("a spread needs at least 3"));
  EXPECT_THAT(call({"baseline", "accept", "seed1", "seed2", "seed2", "--out", "few.json"}).err,
              HasSubstr("is named twice"));
  fs::remove(path("seed3/result.json"));
  EXPECT_THAT(call({"baseline", "accept", "seed1", "seed2", "seed3", "--out", "few.json"}).err,
              HasSubstr("not finished"));
  std::string invalid = read_text(path("seed2/result.json"));
  invalid.replace(invalid.find("\"PASS\""), 6, "\"INVALID\"");
  write_text(path("seed2/result.json"), invalid);
  EXPECT_THAT(call({"baseline", "accept", "seed1", "seed2", "seed4", "--out", "few.json"}).err,
              HasSubstr("seed2 is INVALID"));
  EXPECT_FALSE(fs::exists(path("few.json")));
  write_text(path("broken.json"), file.substr(0, file.size() / 2));
  for (const char* baseline : {"broken.json", "none.json"})
    EXPECT_EQ(compare({"seed1", "--baseline", baseline}).status, 2);
}

}  // namespace
}  // namespace stillrotor::test
