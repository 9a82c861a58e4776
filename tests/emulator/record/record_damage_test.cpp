// Kills, full disks, folders without permission, files that are not records.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <cmath>
#include <csignal>
#include <fstream>
#include <sstream>
#include <thread>

#include "emulator/record/record_layout.hpp"
#include "emulator/record/record_reader.hpp"
#include "emulator/record/recorder.hpp"
#include "tests/emulator/record/scratch_folder.hpp"

namespace stillrotor {
namespace {

using ::testing::HasSubstr;
using testing::ScratchFolder;
using namespace std::chrono_literals;

constexpr std::int64_t grid_ps = 50'000'000;

template <class Do>
std::string message_of(Do&& act) {
  try {
    act();
  } catch (const std::exception& error) {
    return error.what();
  }
  return "";
}

std::string read(const std::filesystem::path& file) {
  std::stringstream text;
  text << std::ifstream(file).rdbuf();
  return text.str();
}

void record_frames(Recorder& recorder, std::int64_t count, std::int64_t from = 0) {
  Frame frame;
  for (std::int64_t k = from; k < count; ++k) {
    recorder.edge({k * grid_ps, static_cast<std::uint16_t>(k % 6), k / 6 % 2 == 0});
    frame.at_ps = (k + 1) * grid_ps;
    frame.value.fill(static_cast<float>(k));
    recorder.frame(frame);
  }
}

/// Starts the recording program, kills it after `after`; returns how long it ran at least.
std::chrono::duration<double> record_and_kill(const std::filesystem::path& folder,
                                              std::chrono::milliseconds after) {
  const pid_t child = fork();
  if (child == 0) {
    execl(RECORD_UNTIL_KILLED, RECORD_UNTIL_KILLED, folder.c_str(), nullptr);
    _exit(127);
  }
  // Counted from when it records.
  while (!std::filesystem::exists(folder / "recording")) std::this_thread::sleep_for(1ms);
  const auto start = std::chrono::steady_clock::now();
  std::this_thread::sleep_for(after);
  const auto ran = std::chrono::steady_clock::now() - start;
  kill(child, SIGKILL);
  int status = 0;
  waitpid(child, &status, 0);
  EXPECT_TRUE(WIFSIGNALED(status));
  return ran;
}

TEST(KilledRecorder, LeavesARecordThatReachesToWithinASecondOfTheKill) {
  // Kills at different places of the half-second between two flushes.
  for (const auto after : {1100ms, 1730ms, 2490ms}) {
    const ScratchFolder folder;
    const double ran_s = record_and_kill(folder.path(), after).count();
    const RecordReader reader(folder.path());
    EXPECT_FALSE(reader.finished());
    EXPECT_GE(reader.end_s(), ran_s - 1.0);
    const std::size_t frames = reader.frames();
    EXPECT_NEAR(static_cast<double>(frames), reader.end_s() * 20e3, 1.0);
    const auto speed = reader.values(Signal::speed, 0, frames);
    for (std::size_t k = 0; k < frames; ++k) ASSERT_EQ(speed[k], static_cast<float>(k + 1));
    // Edge k lies half a grid step before frame k; none is missing up to the end.
    std::size_t edges = 0;
    for (std::uint16_t line = 0; line < 6; ++line) edges += reader.edges(line).size();
    EXPECT_EQ(edges, frames);
    ASSERT_EQ(reader.marks().size(), 1U);
  }
}

TEST(KilledRecorder, LeavesARecordForH5pyOnceTheFlagIsCleared) {
  if (std::system("/usr/bin/python3 -c 'import h5py' 2>/dev/null && which h5clear >/dev/null") !=
      0) {
    GTEST_SKIP() << "needs python3-h5py and hdf5-tools";
  }
  const ScratchFolder folder;
  record_and_kill(folder.path(), 1100ms);
  const std::string file = (folder.path() / "record.h5").string();
  EXPECT_EQ(std::system(("h5clear -s " + file).c_str()), 0);
  EXPECT_EQ(std::system(("/usr/bin/python3 -c 'import h5py,sys; "
                         "v=h5py.File(sys.argv[1],\"r\")[\"signals/speed\"][:]; "
                         "sys.exit(0 if len(v) > 2000 and v[99] == 100 else 1)' " +
                         file)
                            .c_str()),
            0);
}

void limit_files(rlim_t bytes) {
  rlimit limit{};
  getrlimit(RLIMIT_FSIZE, &limit);
  limit.rlim_cur = bytes;
  setrlimit(RLIMIT_FSIZE, &limit);
}

/// Runs `act` in a child whose files cannot grow beyond `bytes` and whose standard error goes to
/// `complaints`; returns its exit status.
template <class Do>
int with_file_limit(const std::filesystem::path& complaints, rlim_t bytes, Do&& act) {
  const pid_t child = fork();
  if (child == 0) {
    if (std::freopen(complaints.c_str(), "w", stderr) == nullptr) _exit(3);
    std::signal(SIGXFSZ, SIG_IGN);  // a write beyond the limit then fails with EFBIG
    limit_files(bytes);
    const int result = act();
    std::exit(result);  // exit handlers too: none may hang or complain
  }
  int status = 0;
  waitpid(child, &status, 0);
  return WIFEXITED(status) ? WEXITSTATUS(status) : 1000 + WTERMSIG(status);
}

/// What a record with a stretch for which the disk had no room holds, against record_frames().
void expect_whole_beside_one_gap(const RecordReader& reader, std::size_t frames) {
  EXPECT_TRUE(reader.finished());
  ASSERT_EQ(reader.frames(), frames);
  ASSERT_EQ(reader.marks().size(), 1U);
  const RecordedMark& gap = reader.marks()[0];
  EXPECT_EQ(gap.kind, MarkKind::gap);
  EXPECT_EQ(gap.name, "disk full");
  const auto from = static_cast<std::size_t>(gap.at_ps / grid_ps);  // points before it
  const auto to = static_cast<std::size_t>(gap.to_ps / grid_ps);
  EXPECT_LT(from, to);
  const auto speed = reader.values(Signal::speed, 0, frames);
  for (std::size_t k = 0; k < frames; ++k) {
    if (k >= from && k < to)
      ASSERT_TRUE(std::isnan(speed[k])) << k;
    else
      ASSERT_EQ(speed[k], static_cast<float>(k));
  }
  // Edge k lies at k grid steps, on line k mod 6, its level turning round every six.
  std::size_t edges = 0, edges_outside = 0;
  for (std::uint16_t line = 0; line < 6; ++line) {
    std::int64_t last_ps = -1;
    for (const RecordedEdge& edge : reader.edges(line)) {
      const std::int64_t k = edge.at_ps / grid_ps;
      ASSERT_EQ(k % 6, line);
      ASSERT_EQ(edge.level, k / 6 % 2 == 0);
      ASSERT_LT(last_ps, edge.at_ps);
      last_ps = edge.at_ps;
      edges_outside += edge.at_ps < gap.at_ps || edge.at_ps > gap.to_ps;
      ++edges;
    }
  }
  const std::size_t lost = static_cast<std::size_t>((gap.to_ps - gap.at_ps) / grid_ps);
  // By their numbers 0 to from - 1, and to + 1 on.
  EXPECT_EQ(edges_outside, from + (to < frames ? frames - to - 1 : 0));
  EXPECT_EQ(gap.detail,
            std::to_string(lost) + " points and " + std::to_string(frames - edges) + " edges lost");
}

// Some 36 slices of 3 MB; the disk takes about eight of them, and in one case all others once most
// of them have come.
TEST(FullDisk, CostsOnlyWhatItHadNoRoomFor) {
  constexpr std::int64_t frames = 600'000;
  for (const bool cleared : {false, true}) {
    const ScratchFolder folder;
    const int status = with_file_limit(folder.path() / "complaints.txt", 40'000'000, [&] {
      Recorder recorder(folder.path(), {});
      record_frames(recorder, 450'000);
      if (cleared) limit_files(200'000'000);
      record_frames(recorder, frames, 450'000);
      const RecordSummary summary = recorder.finish(frames * grid_ps);
      std::ofstream(folder.path() / "summary.txt")
          << summary.failure << ' ' << summary.lost_frames << ' ' << summary.lost_edges;
      return summary.frames == frames && summary.failure.empty() && summary.lost_frames > 0 ? 0 : 1;
    });
    EXPECT_EQ(status, 0) << read(folder.path() / "summary.txt");
    EXPECT_EQ(read(folder.path() / "complaints.txt"), "");
    const RecordReader reader(folder.path());
    expect_whole_beside_one_gap(reader, frames);
    // The last points are there where there was room for them again.
    EXPECT_EQ(std::isnan(reader.values(Signal::speed, frames - 1, 1)[0]), !cleared);
  }
}

TEST(FullDisk, AtTheStartIsRefusedWithARemedy) {
  const ScratchFolder folder;
  EXPECT_EQ(with_file_limit(folder.path() / "complaints.txt", 500'000,
                            [&] {
                              const std::string said =
                                  message_of([&] { Recorder(folder.path(), RecordHeader{}); });
                              return said.find("no room for 16 MB") != said.npos &&
                                             said.find("Name a folder on a disk with more room") !=
                                                 said.npos
                                         ? 0
                                         : 1;
                            }),
            0);
}

TEST(FullDisk, WithRoomEnoughNothingIsReported) {
  const ScratchFolder folder;
  EXPECT_EQ(with_file_limit(folder.path() / "complaints.txt", 100'000'000,
                            [&] {
                              Recorder recorder(folder.path(), {});
                              record_frames(recorder, 100'000);
                              return recorder.finish(100'000 * grid_ps).failure.empty() ? 0 : 1;
                            }),
            0);
}

TEST(Recorder, RefusesAFolderThatDoesNotExistWithARemedy) {
  const ScratchFolder folder;
  const std::string message =
      message_of([&] { Recorder(folder.path() / "missing", RecordHeader{}); });
  EXPECT_THAT(message, HasSubstr("missing/record.h5"));
  EXPECT_THAT(message, HasSubstr("No such file or directory"));
  EXPECT_THAT(message, HasSubstr("name a folder that you may write to"));
}

TEST(Recorder, RefusesAFolderThatCannotBeWritten) {
  const ScratchFolder folder;
  std::filesystem::permissions(
      folder.path(), std::filesystem::perms::owner_read | std::filesystem::perms::owner_exec);
  // Root may write everywhere: nobody may not.
  const bool is_root = geteuid() == 0;
  if (is_root && seteuid(65534) != 0) GTEST_SKIP() << "cannot give up root's rights";
  const std::string message = message_of([&] { Recorder(folder.path(), RecordHeader{}); });
  if (is_root && seteuid(0) != 0) FAIL() << "cannot take root's rights back";
  EXPECT_THAT(message, HasSubstr("Permission denied"));
}

TEST(RecordReader, SaysInWordsWhatIsNotARecord) {
  const ScratchFolder folder;
  EXPECT_THAT(message_of([&] { RecordReader(folder.path()); }), HasSubstr("does not exist"));

  const auto garbage = folder.path() / "garbage.h5";
  std::ofstream(garbage) << std::string(10'000, 'x');
  EXPECT_THAT(message_of([&] { RecordReader reader(garbage); }), HasSubstr("is not a record"));

  const auto empty = folder.path() / "empty.h5";
  std::ofstream{empty};
  EXPECT_THAT(message_of([&] { RecordReader reader(empty); }), HasSubstr("is not a record"));
}

TEST(RecordReader, NeitherCrashesNorHangsOnAFileThatIsCutOff) {
  const ScratchFolder folder;
  {
    Recorder recorder(folder.path(), {});
    record_frames(recorder, 20'000);
    recorder.finish(20'000 * grid_ps);
  }
  const auto file = folder.path() / "record.h5";
  const auto whole = std::filesystem::file_size(file);
  for (std::uintmax_t keep = whole - whole / 16; keep >= whole / 16; keep -= whole / 16) {
    std::filesystem::resize_file(file, keep);
    EXPECT_THROW(
        {
          const RecordReader reader(file);
          for (std::size_t s = 0; s < signal_count; ++s) {
            reader.values(static_cast<Signal>(s), 0, reader.frames());
          }
          for (std::uint16_t line = 0; line < 6; ++line) reader.edges(line);
        },
        std::runtime_error)
        << keep << " of " << whole << " bytes";
  }
}

TEST(RecordReader, SaysWhichFormatARecordHasThatItDoesNotRead) {
  const ScratchFolder folder;
  {
    Recorder recorder(folder.path(), {});
    record_frames(recorder, 100);
    recorder.finish(100 * grid_ps);
  }
  const std::string file = (folder.path() / layout::file_name).string();
  for (const int other : {layout::format - 1, layout::format + 1}) {
    {
      const Hdf5Handle record(H5Fopen(file.c_str(), H5F_ACC_RDWR, H5P_DEFAULT), &H5Fclose, "open");
      const Hdf5Handle format(H5Aopen(record.get(), "format", H5P_DEFAULT), &H5Aclose, "attribute");
      check_hdf5(H5Awrite(format.get(), H5T_NATIVE_INT, &other), "write");
    }
    EXPECT_EQ(message_of([&] { RecordReader reader(file); }),
              file + " is a record of format " + std::to_string(other) + "; this program reads " +
                  std::to_string(layout::format) +
                  ". Read it with the version of the program that wrote it (run.json names it), or "
                  "its numbers with h5dump or h5py.");
  }
}

/// FNV-1a, 32 bits, of everything that a reader of this format asks for by name.
std::uint32_t names() {
  std::string all;
  for (const SignalInfo& signal : signal_table)
    all += std::string(signal.name) + (signal.spread ? "<> " : " ");
  for (std::uint16_t line = 0; line < io::line_count; ++line)
    all += std::string(io::name(io::LineId{line})) + " ";
  std::uint32_t hash = 2166136261U;
  for (const char c : all) hash = (hash ^ static_cast<unsigned char>(c)) * 16777619U;
  return hash;
}

TEST(RecordLayout, ItsFormatNumberStandsForTheseSignalsAndLines) {
  EXPECT_EQ(layout::format, 5);
  EXPECT_EQ(names(), 592553300U) << "signals or lines have changed: raise layout::format by one, "
                                    "and write both numbers here";
}

// The library waits for a writer that may be changing the superblock just now; nobody is. The test
// would run into its time limit where the reader waited for ever.
TEST(RecordReader, DoesNotWaitForEverForAHeaderThatIsDamaged) {
  const ScratchFolder folder;
  {
    Recorder recorder(folder.path(), {});
    record_frames(recorder, 100);
    recorder.finish(100 * grid_ps);
  }
  const auto file = folder.path() / "record.h5";
  for (std::streamoff at = 8; at < 48; ++at) {  // versions, flags, addresses, checksum
    std::fstream bytes(file, std::ios::in | std::ios::out | std::ios::binary);
    bytes.seekg(at);
    const int good = bytes.get();
    bytes.seekp(at);
    bytes.put(static_cast<char>(good ^ 0x55));
    bytes.flush();
    EXPECT_THROW(RecordReader reader(file), std::runtime_error) << "byte " << at;
    bytes.seekp(at);
    bytes.put(static_cast<char>(good));
  }
  EXPECT_EQ(RecordReader(file).frames(), 100U);
}

}  // namespace
}  // namespace stillrotor
