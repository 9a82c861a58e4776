#include "tests/reference/cvode/model/cvode_run.hpp"

#include <cvode/cvode.h>
#include <nvector/nvector_serial.h>
#include <sunnonlinsol/sunnonlinsol_fixedpoint.h>

#include <algorithm>
#include <stdexcept>
#include <string>

namespace stillrotor::reference {
namespace {

constexpr double shortest_s = 1e-15;  // 1 fs: less than any solver step, moves 1 MA/s by 1 nA
constexpr long most_events = 1000;    // in one interval between edges

void check(int flag, const char* call) {
  if (flag < 0) throw std::runtime_error(std::string(call) + " failed: " + std::to_string(flag));
}

void pack(const AbcState& x, N_Vector y) {
  const AbcNumbers all = numbers(x);
  std::copy(all.begin(), all.end(), N_VGetArrayPointer(y));
}

AbcState unpack(N_Vector y) {
  AbcNumbers all;
  std::copy_n(N_VGetArrayPointer(y), all.size(), all.begin());
  return state_of(all);
}

}  // namespace

struct CvodeRun::Solver {
  SUNContext context = nullptr;
  N_Vector y = nullptr, dense = nullptr;
  SUNNonlinearSolver iteration = nullptr;
  void* memory = nullptr;
  const AbcCircuit* circuit = nullptr;
  const AbcInputs* inputs = nullptr;
  AbcModes modes;
  std::int64_t since_ps = 0;  // of local time
  std::function<void(const Stretch&)> watcher;
  bool goes_on = false;

  static int right_hand_side(double, N_Vector y, N_Vector dy, void* self) {
    const auto* s = static_cast<const Solver*>(self);
    pack(s->circuit->rates(unpack(y), *s->inputs, s->modes).state, dy);
    return 0;
  }

  Solver(const AbcCircuit& c, const AbcInputs& in, const AbcState& start, CvodeTolerance tolerance)
      : circuit(&c), inputs(&in) {
    check(SUNContext_Create(nullptr, &context), "SUNContext_Create");
    y = N_VNew_Serial(abc_states, context);
    dense = N_VNew_Serial(abc_states, context);
    pack(start, y);
    memory = CVodeCreate(CV_ADAMS, context);
    check(CVodeInit(memory, right_hand_side, 0.0, y), "CVodeInit");
    check(CVodeSStolerances(memory, tolerance.relative, tolerance.absolute), "tolerances");
    check(CVodeSetUserData(memory, this), "CVodeSetUserData");
    iteration = SUNNonlinSol_FixedPoint(y, 0, context);
    check(CVodeSetNonlinearSolver(memory, iteration), "CVodeSetNonlinearSolver");
    check(CVodeSetMaxNumSteps(memory, 1000000), "CVodeSetMaxNumSteps");
    // Behind a blocked supply nothing moves that would tell the solver of a ripple.
    if (in.ripple_Hz > 0.0) check(CVodeSetMaxStep(memory, 0.02 / in.ripple_Hz), "CVodeSetMaxStep");
  }
  Solver(const Solver&) = delete;
  Solver& operator=(const Solver&) = delete;
  ~Solver() {
    CVodeFree(&memory);
    SUNNonlinSolFree(iteration);
    N_VDestroy(dense);
    N_VDestroy(y);
    SUNContext_Free(&context);
  }

  AbcState at(double t) {
    check(CVodeGetDky(memory, t, 0, dense), "CVodeGetDky");
    return unpack(dense);
  }
  void show(double from, double to) {
    if (!watcher || to <= from) return;
    const auto inside = [this](double t) { return at(t); };
    watcher({since_ps, from, to, goes_on, inside, *circuit, *inputs, modes});
    goes_on = true;
  }
  bool violated(double t) { return circuit->violation(at(t), *inputs, modes) > 0.0; }

  void begin(const AbcState& x, double t) {
    pack(x, y);
    check(CVodeReInit(memory, t, y), "CVodeReInit");
    goes_on = false;
  }
  /// From local time t to at most `end`; true: stopped early, at an event.
  bool run(AbcState& x, double& t, double end) {
    check(CVodeSetStopTime(memory, end), "CVodeSetStopTime");
    for (double reached = t; reached < end;) {
      const double before = reached;
      check(CVode(memory, end, y, &reached, CV_ONE_STEP), "CVode");
      double fine = before;
      for (int n = 1; n <= 4; ++n) {
        const double here = n == 4 ? reached : before + 0.25 * n * (reached - before);
        if (!violated(here)) {
          fine = here;
          continue;
        }
        double bad = here;
        while (bad - fine > shortest_s && 0.5 * (fine + bad) != fine && 0.5 * (fine + bad) != bad) {
          const double mid = 0.5 * (fine + bad);
          (violated(mid) ? bad : fine) = mid;
        }
        show(before, bad);
        t = bad;
        x = at(bad);
        return true;
      }
      show(before, reached);
    }
    t = end;
    x = unpack(y);
    return false;
  }
};

CvodeRun::CvodeRun(const plant::DriveParameters& parameters, const AbcState& start,
                   const AbcInputs& inputs, CvodeTolerance tolerance)
    : circuit_(parameters),
      state_(start),
      inputs_(inputs),
      solver_(std::make_unique<Solver>(circuit_, inputs_, state_, tolerance)) {}

CvodeRun::~CvodeRun() = default;

// The solver goes on as it was where nothing has changed: a reading costs no start from order 1.
void CvodeRun::advance_to(std::int64_t until_ps) {
  if (until_ps <= now_ps_) return;
  if (changed_) {
    solver_->since_ps = now_ps_;
    local_s_ = 0.0;
  }
  now_ps_ = until_ps;
  const double end = 1e-12 * static_cast<double>(until_ps - solver_->since_ps);
  for (long here = 0; end - local_s_ > shortest_s;) {
    if (changed_) {
      solver_->modes = circuit_.choose(state_, inputs_, solver_->modes);
      circuit_.settle(state_, inputs_, solver_->modes);
      solver_->begin(state_, local_s_);
      changed_ = false;
    }
    if (!solver_->run(state_, local_s_, end)) break;
    changed_ = true;
    ++events_;
    if (++here > most_events) throw std::runtime_error("events do not end in one interval");
    circuit_.settle(state_, inputs_, solver_->modes);
  }
}

void CvodeRun::gate(std::size_t which, bool on) {
  asked_[which] = on;
  act();
}

void CvodeRun::set_faults(const SwitchFaults& faults) {
  faults_ = faults;
  act();
}

void CvodeRun::act() {
  std::array<bool, plant::switch_count> on;
  for (std::size_t n = 0; n < on.size(); ++n)
    on[n] = ((asked_[n] || faults_.shorted[n]) && !faults_.open[n]) || faults_.pulse[n / 2];
  if (on == inputs_.gate) return;
  solver_->modes = circuit_.choose(state_, inputs_, solver_->modes);
  changed_ = true;
  const std::array<double, 3> heat_J = circuit_.gates(state_, inputs_, solver_->modes, on);
  for (std::size_t k = 0; k < 3; ++k) switching_J_[k] += heat_J[k];
}

void CvodeRun::change_machine(const MachineState& to) {
  changed_ = true;
  solver_->modes = circuit_.choose(state_, inputs_, solver_->modes);
  circuit_.change_machine(state_, inputs_, solver_->modes, to);
}

void CvodeRun::set_ground(const GroundShort& ground) {
  changed_ = true;
  solver_->modes = circuit_.choose(state_, inputs_, solver_->modes);
  circuit_.set_ground(state_, inputs_, solver_->modes, ground);
}

void CvodeRun::end_short(bool of_turns) {
  changed_ = true;
  solver_->modes = circuit_.choose(state_, inputs_, solver_->modes);
  circuit_.end_short(state_, inputs_, solver_->modes, of_turns);
}

void CvodeRun::watch(std::function<void(const Stretch&)> watcher) {
  solver_->watcher = std::move(watcher);
}

CvodeRun::Now CvodeRun::now() const {
  Now out;
  out.modes = circuit_.choose(state_, inputs_, solver_->modes);
  out.rates = circuit_.rates(state_, inputs_, out.modes);
  out.terminal_V = circuit_.potentials(out.rates, inputs_, out.modes);
  return out;
}

void CvodeRun::cut(std::size_t leg) {
  changed_ = true;
  circuit_.cut(state_, inputs_, leg);
  inputs_.open[leg] = true;
}

}  // namespace stillrotor::reference
