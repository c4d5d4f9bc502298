#include "drivers/scpi/scpi_bus.hpp"

#include <algorithm>
#include <utility>

#include "drivers/scpi/answer.hpp"

namespace steadyglow::drivers::scpi {
namespace {

using std::chrono::milliseconds;

/// A call opens, clears and asks for the name twice at most before its questions; then as many silent ones as count here.
constexpr int answers_before_values = 4;
constexpr std::size_t slow_answers_per_call_max = 6;
constexpr milliseconds clear_allowance{600};
constexpr milliseconds local_within{200};
/// Instruments without an error queue are told apart from silent ones by this many silences.
constexpr unsigned error_misses_max = 2;
constexpr std::size_t error_texts_most = 3;  // in one trouble text
constexpr int name_tries_max = 2;
/// Attempts to get in step have 1 to so many marks in turn: a late answer to one of the last few is none to this one.
constexpr unsigned marks_most = 5;
/// An instrument that is silent on *OPC? so often does not know it.
constexpr unsigned mark_misses_max = 2;

milliseconds deadline_of_calls(const Instrument& instrument, milliseconds timeout) {
  const auto answers = answers_before_values + static_cast<int>(std::clamp<std::size_t>(instrument.queries.size(), 1, slow_answers_per_call_max));
  return std::min(timeout * answers + clear_allowance, call_deadline_most);
}

std::string without_quotes(std::string_view text) {
  std::string result = upper(trimmed(text));
  std::erase_if(result, [](char c) { return c == '"' || c == '\''; });
  return result;
}

std::string joined(const std::vector<std::string>& texts) {
  std::string all;
  for (std::size_t i = 0; i < texts.size() && i < error_texts_most; ++i) all += (i == 0 ? "" : "; ") + texts[i];
  if (texts.size() > error_texts_most) all += " and " + std::to_string(texts.size() - error_texts_most) + " more";
  return all;
}

}  // namespace

/// One call: its reply, its deadline, and the errors that the instrument told while it got in step.
struct ScpiBus::Poll {
  MeterReply reply;
  Deadline deadline;
  std::vector<std::string> entries;
  std::size_t answered = 0;  ///< queries
  bool is_over = false;

  void note(const std::string& trouble) {
    if (reply.trouble.size() < 400 && reply.trouble.find(trouble) == std::string::npos) reply.trouble += (reply.trouble.empty() ? "" : "; ") + trouble;
  }
  void fill(Quality quality) {
    for (ChannelValue& channel : reply.channels) channel = {0.0, quality};
  }
};

ScpiBus::ScpiBus(wire::Place place, ScpiSetup setup, milliseconds timeout)
    : setup_(std::move(setup)),
      timeout_(timeout),
      call_deadline_(deadline_of_calls(setup_.instrument, timeout)),
      is_clear_when_new_(std::holds_alternative<TcpEnd>(place)),
      dialog_(std::move(place), setup_.instrument.terminator, counters_),
      queries_(setup_.instrument.queries.size()),
      has_error_queue_(!setup_.instrument.error_query.empty()) {}

ScpiBus::~ScpiBus() {
  if (!setup_.instrument.local.empty() && dialog_.wire().is_open() && stand_ != Stand::stranger)
    (void)dialog_.tell(setup_.instrument.local, Clock::now() + local_within);
}

Deadline ScpiBus::answer_by(Deadline deadline) const { return std::min(deadline, Clock::now() + timeout_); }

void ScpiBus::lose_step() { stand_ = Stand::doubtful; }

/// An open wire and an instrument of which the last answer is its name.
bool ScpiBus::get_in_step(Poll& poll, bool is_order) {
  wire::Wire& wire = dialog_.wire();
  const Deadline open_by = answer_by(poll.deadline);
  if (auto opened = is_order ? wire.open_now(open_by) : wire.open(open_by); !opened) {
    lose_step();
    poll.note(with_hint(opened.error()));
    return false;
  }
  const bool is_new = wire.session() != session_;
  if (is_new) {
    dialog_.forget();
    lose_step();
    session_ = wire.session();
    has_error_queue_ = !setup_.instrument.error_query.empty();
    error_misses_ = 0;
  }
  if (stand_ != Stand::doubtful && dialog_.has_surplus()) {
    ++counters_.garbage;
    lose_step();
  }
  if (!wire.is_open()) lose_step();
  if (stand_ == Stand::ready) return true;
  if (stand_ != Stand::doubtful) {
    // It may have been put right since.
    if (const auto naming = dialog_.ask_name(answer_by(poll.deadline)); naming) return check_name(poll, naming->identity);
    lose_step();
  }
  for (int i = 0; i < name_tries_max && Clock::now() < poll.deadline; ++i) {
    if (!(is_new && i == 0 && is_clear_when_new_))
      if (auto cleared = dialog_.clear(answer_by(poll.deadline)); !cleared) {
        poll.note(with_hint(cleared.error()));
        if (!wire.is_open()) return false;
        continue;
      }
    session_ = wire.session();
    auto naming = dialog_.ask_name(answer_by(poll.deadline), has_marks_.value_or(false) ? 1 + attempts_++ % marks_most : 0);
    if (!naming) {
      poll.note(with_hint(naming.error()));
      if (!wire.is_open()) return false;
      continue;
    }
    if (naming->has_late_number) poll.note("an answer came after its time: a longer timeout_seconds?");
    return check_name(poll, std::move(naming->identity));
  }
  return false;
}

/// In step from here on, whoever it is. False when that is not certain.
bool ScpiBus::check_name(Poll& poll, std::string said) {
  poll.reply.is_answered = true;
  if (!setup_.identity.empty() && !is_same_identity(setup_.identity, said)) {
    // A garbled name is no other instrument: that one says the same twice.
    const auto again = dialog_.ask_name(answer_by(poll.deadline));
    if (!again || again->identity != said || again->lines_before > 0) {
      poll.note("its name came garbled: `" + shown_answer(said) + "`");
      lose_step();
      return false;
    }
    identity_ = std::move(said);
    stand_ = Stand::stranger;
    return true;
  }
  const bool is_other = stand_ == Stand::ready && said != identity_;
  if (is_other) poll.note("it is `" + said + "` now, and was `" + identity_ + "`");
  if (said != identity_) {
    has_marks_.reset();
    mark_misses_ = 0;
  }
  identity_ = std::move(said);
  if (stand_ != Stand::ready || is_other) stand_ = Stand::unset;
  return !is_other;
}

/// What it complains of from before, its setup, and what it says to that.
void ScpiBus::set_up(Poll& poll, bool is_order) {
  const Instrument& instrument = setup_.instrument;
  if (!has_marks_ && !is_order) {  // an order does not wait for a silence
    const auto answer = dialog_.ask(mark_query, answer_by(poll.deadline));
    if (answer || ++mark_misses_ >= mark_misses_max) has_marks_ = answer && is_mark(*answer);
    if (!answer) {
      poll.note("`" + std::string(mark_query) + "`: " + with_hint(answer.error()));
      return lose_step();
    }
  }
  const auto errors = [&]() -> std::vector<std::string> {
    if (!has_error_queue_) return {};
    auto entries = dialog_.ask_errors(instrument.error_query, timeout_, poll.deadline);
    if (entries) {
      error_misses_ = 0;
      return std::move(*entries);
    }
    poll.note("`" + instrument.error_query + "`: " + with_hint(entries.error()));
    if (dialog_.wire().is_open() && ++error_misses_ >= error_misses_max) {
      has_error_queue_ = false;
      poll.note("it is not asked again; say error_query = \"\" in the instrument file");
    }
    lose_step();
    return {};
  };
  poll.entries = errors();
  for (const std::string& command : instrument.setup) {
    if (stand_ == Stand::doubtful) return;
    if (auto told = dialog_.tell(command, answer_by(poll.deadline)); !told) {
      poll.note(with_hint(told.error()));
      return lose_step();
    }
  }
  if (stand_ == Stand::doubtful) return;
  if (!instrument.setup.empty()) {
    const auto refused = errors();
    if (stand_ == Stand::doubtful) return;
    if (!refused.empty()) return poll.note("its setup was refused: " + joined(refused));
  }
  stand_ = Stand::ready;
}

/// The bound instrument, in step and set up. False: the reply says why.
bool ScpiBus::get_ready(Poll& poll, bool is_order) {
  if (!get_in_step(poll, is_order)) {
    poll.fill(Quality::no_answer);
    return false;
  }
  if (stand_ == Stand::stranger) return tell_of_stranger(poll);
  if (stand_ == Stand::unset) set_up(poll, is_order);
  if (stand_ == Stand::ready) return true;
  poll.fill(stand_ == Stand::unset ? Quality::refused : Quality::no_answer);
  return false;
}

/// The answers so far were to the questions asked, and the bound instrument gave them.
bool ScpiBus::prove_step(Poll& poll) {
  if (dialog_.has_surplus()) {
    ++counters_.garbage;
    poll.note("it said something that nobody asked for");
    lose_step();
    poll.fill(Quality::implausible);
    return false;
  }
  const auto naming = dialog_.ask_name(answer_by(poll.deadline));
  if (!naming || naming->lines_before > 0) {
    poll.note(naming ? "its answers are out of step" : "after its values it does not say its name: " + with_hint(naming.error()));
    lose_step();
    poll.fill(naming ? Quality::implausible : Quality::no_answer);
    return false;
  }
  if (!check_name(poll, naming->identity)) {
    poll.fill(Quality::implausible);
    return false;
  }
  return stand_ != Stand::stranger || tell_of_stranger(poll);
}

bool ScpiBus::tell_of_stranger(Poll& poll) const {
  poll.reply.is_stranger = true;
  poll.note(stranger_words(identity_, setup_.identity));
  poll.fill(Quality::other_meter);
  return false;
}

bool ScpiBus::confirm(Poll& poll) {
  for (const Confirmation& confirmation : setup_.instrument.confirmations) {
    const auto answer = dialog_.ask(confirmation.query, answer_by(poll.deadline));
    if (!answer) {
      poll.note("no answer to `" + confirmation.query + "`: " + with_hint(answer.error()));
      lose_step();
      poll.fill(Quality::no_answer);
      return false;
    }
    const std::string said = without_quotes(*answer);
    const bool is_good = std::any_of(confirmation.answers.begin(), confirmation.answers.end(), [&](const std::string& good) { return without_quotes(good) == said; });
    if (is_good) continue;
    poll.note("`" + confirmation.query + "` says `" + shown_answer(*answer) + "` and not `" + confirmation.answers.front() + "`: was it set at the panel? It is set up again");
    poll.fill(Quality::implausible);
    lose_step();
    return false;
  }
  return true;
}

void ScpiBus::take(const Query& query, std::size_t position, const std::string& answer, Poll& poll) {
  const auto fields = split_fields(answer);
  if (fields.size() != query.fields)
    poll.note("`" + query.text + "` is answered by " + std::to_string(fields.size()) + " fields, not " + std::to_string(query.fields) + ": `" + shown_answer(answer) + "`");
  for (std::size_t i = 0; i < setup_.instrument.channels.size(); ++i) {
    const Channel& channel = setup_.instrument.channels[i];
    if (channel.query != position) continue;
    if (fields.size() != query.fields) {
      poll.reply.channels[i] = {0.0, Quality::implausible};
      continue;
    }
    const Number number = read_number(fields[channel.field]);
    if (!number.trouble.empty()) poll.note("`" + query.text + "`: " + number.trouble);
    const bool is_figure = number.quality == Quality::good || number.value != 0.0;
    // A sentinel of the file may say more of a special number than the standard does.
    ChannelValue value = is_figure ? judge(channel, number.value) : ChannelValue{0.0, number.quality};
    if (number.quality != Quality::good) {
      const bool is_said = value.quality != Quality::good && value.quality != Quality::implausible;
      value = {0.0, is_said ? value.quality : number.quality};
    }
    poll.reply.channels[i] = value;
  }
}

void ScpiBus::ask_values(Poll& poll) {
  const auto& queries = setup_.instrument.queries;
  std::vector<std::size_t> order(queries.size());
  for (std::size_t i = 0; i < order.size(); ++i) order[i] = i;
  // What met silence is asked last, so that it cannot hide the others.
  std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) { return queries_[a].misses < queries_[b].misses; });
  std::size_t& answered = poll.answered;
  std::vector<ChannelValue> proven(poll.reply.channels.size(), {0.0, Quality::no_answer});
  for (const std::size_t i : order) {
    QueryState& state = queries_[i];
    const auto fill = [&](Quality quality) {
      state.last = quality;
      for (std::size_t c = 0; c < setup_.instrument.channels.size(); ++c)
        if (setup_.instrument.channels[c].query == i) poll.reply.channels[c] = {0.0, quality};
    };
    if (poll.is_over) {
      fill(Quality::no_answer);
      continue;
    }
    if (state.rest_for_polls > 0) {
      --state.rest_for_polls;
      fill(state.last);
      poll.note("`" + queries[i].text + "` is not answered, and rests");
      continue;
    }
    if (dialog_.has_surplus()) {
      ++counters_.garbage;
      poll.note("it said something that nobody asked for");
      poll.is_over = true;
      lose_step();
      poll.fill(Quality::implausible);
      return;
    }
    // What was silent before may be again, and after a silence nothing that was not proven counts.
    if ((state.misses > 0 || !state.has_answered) && answered > 0) {
      if (!prove_step(poll)) {
        poll.is_over = true;
        return;
      }
      proven = poll.reply.channels;
    }
    auto answer = dialog_.ask(queries[i].text, answer_by(poll.deadline));
    if (answer) {
      state.misses = 0;
      state.has_answered = true;
      ++answered;
      poll.reply.is_answered = true;
      take(queries[i], i, *answer, poll);
      continue;
    }
    poll.note("`" + queries[i].text + "`: " + with_hint(answer.error()));
    ++state.misses;
    lose_step();
    // The values before may each be an answer to the question before theirs, the last true one being under way: clearing would hide that.
    // Whether the question was refused, the error queue knows.
    poll.is_over = !get_ready(poll, false);
    if (poll.reply.is_stranger) return;
    poll.reply.channels = proven;
    fill(Quality::no_answer);
    if (!poll.is_over && !poll.entries.empty()) {
      poll.note("it says " + joined(poll.entries));
      fill(Quality::refused);
    }
    if (poll.is_over) poll.fill(Quality::no_answer);
    if (answered > 0 && state.misses >= misses_until_rest) state.rest_for_polls = polls_of_rest;
  }
}

MeterReply ScpiBus::read(std::size_t) {
  Poll poll;
  poll.deadline = Clock::now() + call_deadline_;
  poll.reply.channels.resize(setup_.instrument.channels.size());
  if (get_ready(poll, false)) {
    if (!poll.entries.empty()) poll.note("it says " + joined(poll.entries));
    ask_values(poll);
    const bool has_said_nothing = poll.answered == 0 && !queries_.empty();
    if (!poll.is_over && !has_said_nothing && confirm(poll)) (void)prove_step(poll);
  }
  poll.reply.identity = identity_;
  return std::move(poll.reply);
}

Result<bool> ScpiBus::ask_switch(const Output& output, Poll& poll) {
  const auto answer = dialog_.ask(output.ask, answer_by(poll.deadline));
  if (!answer) {
    lose_step();
    return tl::unexpected(answer.error());
  }
  const auto is_on = read_switch(*answer);
  if (!prove_step(poll)) return fail(Fault::unavailable, poll.reply.trouble);
  if (!is_on) return fail(Fault::bad_data, "`" + output.ask + "` is answered by `" + shown_answer(*answer) + "`, which is neither on nor off");
  return *is_on;
}

Result<void> ScpiBus::write_output(std::size_t, std::size_t index, bool on) {
  const Output& output = setup_.instrument.outputs[index];
  const Deadline deadline = Clock::now() + call_deadline_;
  std::string trouble;
  const int tries = on ? 1 : 2;
  for (int i = 0; i < tries && Clock::now() < deadline; ++i) {
    Poll poll;
    poll.deadline = deadline;
    // Off is sent to whoever is there, before anything else: off is always safer. An empty line ends half a command that may stand in its buffer.
    bool is_off_sent = false;
    if (!on && dialog_.wire().open_now(answer_by(deadline))) {
      if (stand_ == Stand::doubtful) (void)dialog_.tell("", answer_by(deadline));
      is_off_sent = dialog_.tell(output.off, answer_by(deadline)).has_value();
    }
    const bool was_ready = stand_ == Stand::ready;
    const std::uint64_t sent_in = dialog_.wire().session();
    // Refused settings do not hinder off.
    bool is_ready = get_ready(poll, true) || (!on && stand_ == Stand::unset);
    if (on && is_ready) is_ready = prove_step(poll);  // it may have been exchanged since the last poll
    if (poll.reply.is_stranger && !on) {
      trouble = poll.reply.trouble + (is_off_sent && sent_in == session_ ? "; off was sent to it all the same" : "; off could not be sent to it");
      continue;
    }
    if (is_ready && (on || !was_ready || sent_in != session_))
      if (auto told = dialog_.tell(on ? output.on : output.off, answer_by(deadline)); !told) {
        poll.note(with_hint(told.error()));
        is_ready = false;
      }
    if (is_ready) {
      const auto is_on = ask_switch(output, poll);
      if (is_on && *is_on == on) return {};
      trouble = is_on ? "it accepted the order and says that it did not follow" : with_hint(is_on.error());
      if (is_on && has_error_queue_)
        if (const auto entries = dialog_.ask_errors(setup_.instrument.error_query, timeout_, deadline); entries && !entries->empty()) trouble += ": " + joined(*entries);
      continue;
    }
    if (!poll.reply.trouble.empty()) trouble = poll.reply.trouble;
  }
  return fail(Fault::unavailable, "output `" + output.name + "` not switched " + (on ? "on" : "off") + ": " + trouble,
              on ? "" : "open the circuit by hand if it must be off", setup_.name);
}

Result<bool> ScpiBus::read_output(std::size_t, std::size_t index) {
  const Output& output = setup_.instrument.outputs[index];
  Poll poll;
  poll.deadline = Clock::now() + call_deadline_;
  if (!get_ready(poll, true)) return fail(Fault::unavailable, "output `" + output.name + "` not read: " + poll.reply.trouble, {}, setup_.name);
  auto is_on = ask_switch(output, poll);
  if (!is_on) return fail(Fault::unavailable, "output `" + output.name + "` not read: " + with_hint(is_on.error()), {}, setup_.name);
  return is_on;
}

}  // namespace steadyglow::drivers::scpi
