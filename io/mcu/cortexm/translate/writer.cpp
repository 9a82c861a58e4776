#include "io/mcu/cortexm/translate/writer.hpp"

namespace stillrotor::io::cortexm::translate {

Writer::Writer(Cpu& c, const Common& common, Xbyak::CodeGenerator& a, Unit unit,
               std::uint32_t number)
    : c_(c), common_(common), a_(a), unit_(std::move(unit)), number_(number) {}

void Writer::write() {
  places_.core[15] = {true, nowhere, true, 0};  // r[15] is kept 0
  entry_ = here();
  write_body();
  write_stubs();
}

void Writer::write_body() {
  const std::size_t looks = looks_.size();
  for (at_ = 0; at_ < unit_.steps.size(); at_ += 1u + step().in_block) {
    if (step().looks) look_ahead();
    write_step();
  }
  fall_through();
  if (looks_.size() > looks) looks_.back().last = true;
}

void Writer::look_ahead() {
  const std::size_t look = looks_.size();
  looks_.push_back({at_, places_, here(), false});
  a_.lea(a_.rax, a_.ptr[a_.r14 + static_cast<int>(places_.passed + step().ahead)]);
  a_.cmp(a_.rax, member(&c_.stop, 64));
  detour(jump_if(not_below), [this, look] { go_carefully(look); });
}

/// From that look to the next, and back to the quick form there.
void Writer::go_carefully(std::size_t look) {
  careful_ = true;
  const bool last = looks_[look].last;
  const std::size_t end = last ? unit_.steps.size() : looks_[look + 1].at;
  bool comes_back = true;
  for (at_ = looks_[look].at; at_ < end && comes_back; at_ += 1u + step().in_block) {
    write_step();
    // The handler may have gone the way of the block that the quick form does not.
    comes_back = step().kind.does != Does::if_then || step().block == Step::Block::joined;
  }
  if (comes_back && last) fall_through();
  if (comes_back && !last) {
    const Look& to = looks_[look + 1];
    store_state();
    const auto passed = static_cast<int>(places_.passed - to.places.passed);
    if (passed != 0) a_.add(a_.r14, passed);
    places_ = to.places;
    load_registers();
    a_.jmp(to.here, Xbyak::CodeGenerator::T_NEAR);
  }
}

void Writer::fall_through() {
  at_ = unit_.steps.size() - 1;
  if (unit_.steps.back().ends || unit_.falls_to == nullptr) return;
  store_state();
  jump_out(unit_.falls_to);
}

void Writer::detour(const Jumps& from, std::function<void()> write) {
  detours_.push_back({from, places_, at_, careful_, in_round_, std::move(write)});
}

void Writer::write_stubs() {
  for (; stubs_ < detours_.size(); ++stubs_) {
    detours_[stubs_].from.lead_to(here());
    a_.call(common_.first_time);
    a_.dd(number_);
    a_.dd(static_cast<std::uint32_t>(stubs_));
  }
}

void Writer::write_detour(std::uint32_t number, Word ecx) {
  const Detour one = std::move(detours_[number]);
  one.from.lead_to(here());
  places_ = one.places;
  at_ = one.at;
  careful_ = one.careful;
  in_round_ = one.in_round;
  met_ecx_ = ecx;
  in_detour_ = true;
  one.write();
  in_detour_ = in_round_ = false;
  write_stubs();
}

Jump Writer::jump() {
  a_.db(0xe9);
  a_.dd(0);
  return here();
}

Jump Writer::jump_if(unsigned host_condition) {
  a_.db(0x0f);
  a_.db(static_cast<int>(0x80 | host_condition));
  a_.dd(0);
  return here();
}

unsigned Writer::ahead_of_next() const noexcept {
  const std::size_t next = at_ + 1 + step().in_block;
  const bool looks = careful_ || next >= unit_.steps.size() || unit_.steps[next].looks;
  return looks ? 0 : unit_.steps[next].ahead;
}

void Writer::write_step() {
  if (careful_) {
    a_.lea(a_.rax, a_.ptr[a_.r14 + static_cast<int>(places_.passed)]);
    a_.cmp(a_.rax, member(&c_.stop, 64));
    detour(jump_if(not_below), [this] { leave_at(&op()); });
  }
  ask_for_float();
  write_instruction();
}

void Writer::write_instruction() {
  switch (step().kind.does) {
    case Does::call:
    case Does::call_loading:
    case Does::call_away:
      call_step();
      break;
    case Does::nothing:
      pass(op().cycles);
      break;
    case Does::data:
      write_data();
      break;
    case Does::compute:
      write_compute();
      break;
    case Does::multiply_flags:
      write_multiply_flags();
      break;
    case Does::long_product:
      write_long_product();
      break;
    case Does::load:
      write_load();
      break;
    case Does::store:
      write_store();
      break;
    case Does::load_double:
    case Does::store_double:
      write_double(step().kind.does == Does::load_double);
      break;
    case Does::load_multiple:
    case Does::store_multiple:
      write_multiple(step().kind.does == Does::load_multiple);
      break;
    case Does::branch_if:
    case Does::compare_and_branch:
      write_branch_if();
      break;
    case Does::branch_always:
    case Does::branch_with_link:
      write_branch();
      break;
    case Does::branch_to_register:
      write_return();
      break;
    case Does::if_then:
      write_block();
      break;
    case Does::float_binary:
      write_float_binary();
      break;
    case Does::float_chained:
      write_float_chained();
      break;
    case Does::float_fused:
      write_float_fused();
      break;
    case Does::float_unary:
      write_float_unary();
      break;
    case Does::float_compare:
      write_float_compare();
      break;
    case Does::status_to_flags:
      write_status_to_flags();
      break;
    case Does::float_to_core:
      write_float_to_core();
      break;
    case Does::float_from_core:
      write_float_from_core();
      break;
    case Does::float_load:
      write_float_load();
      break;
    case Does::float_store:
      write_float_store();
      break;
    case Does::float_multiple:
      write_float_multiple();
      break;
  }
}

}  // namespace stillrotor::io::cortexm::translate
