#pragma once
/// Meters and relays on one Modbus link: polls by a plan that learns, believes only answers it can tie to their request.
#include <chrono>
#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "drivers/driver.hpp"
#include "drivers/modbus/link.hpp"
#include "drivers/modbus/plan.hpp"

namespace steadyglow::drivers::modbus {

/// So long what a device said of itself holds without being asked again, though it answers all the while.
inline constexpr std::chrono::seconds identity_lasts{60};

struct MeterSetup {
  std::string name;
  std::uint8_t unit = 1;
  Instrument instrument;
  std::string identity{};             ///< what the device must call itself; empty: whoever answers is taken, unless its type code is wrong
  std::chrono::milliseconds pause{};  ///< least silence before its next request
  std::chrono::milliseconds identity_lasts{modbus::identity_lasts};
};

/// A request refused in all its parts is tried whole for this many polls before it is split again.
inline constexpr unsigned polls_until_split_again = 20;
/// A request that met silence this often in a row while other requests of its meter were answered ...
inline constexpr unsigned misses_until_rest = 2;
/// ... is left out for this many polls: a range that a device ignores must not cost a timeout each time.
inline constexpr unsigned polls_of_rest = 20;
/// Whole answer times that one call may take, at most, beside opening the link and proving its sync.
inline constexpr std::size_t slow_answers_per_call_max = 4;

/// A meter that was not heard for so long is asked again who it is: somebody may have exchanged it between two polls.
inline constexpr std::chrono::milliseconds unheard_max{1500};
/// A device that must not be proven and meets the question with silence this often is not asked for polls_of_identity_rest polls:
/// each question costs a poll.
inline constexpr unsigned identity_misses_max = 2;
inline constexpr unsigned polls_of_identity_rest = 3600;

/// A read whose answer no planned request of the meter can be mistaken for.
struct SyncProbe {
  RegisterTable table = RegisterTable::input;
  std::uint16_t address = 0;
  std::uint16_t count = 1;
  bool may_be_refused = false;  ///< reaches past the register map: an exception is an answer as well
};

/// The probe of a meter: a count of bytes that none of its planned or unanswered requests and no question for its identity has, within the map
/// if possible.
SyncProbe choose_sync_probe(const Instrument& instrument, const std::vector<Request>& plan, const std::vector<Request>& unanswered);

/// Thread: one bus thread. Owns: the link. Fails: a quality in the reply or an Error; never throws.
class ModbusBus final : public Bus {
 public:
  /// `timeout`: for one whole answer, real time.
  ModbusBus(TcpEnd end, std::vector<MeterSetup> meters, std::chrono::milliseconds timeout);
  ModbusBus(SerialLine line, std::vector<MeterSetup> meters, std::chrono::milliseconds timeout, LineManners manners = {});

  MeterReply read(std::size_t meter) override;
  Result<void> write_output(std::size_t meter, std::size_t output, bool on) override;
  Result<bool> read_output(std::size_t meter, std::size_t output) override;
  BusCounters counters() const override { return counters_; }
  std::chrono::milliseconds call_deadline() const override { return call_deadline_; }

  /// The requests now in use for a meter, after what was learnt from refusals.
  const std::vector<Request>& plan(std::size_t meter) const { return meters_[meter].plan; }

 private:
  struct Meter {
    MeterSetup setup;
    std::vector<Request> plan;
    std::uint64_t in_sync_in = 0;     ///< the link's session for which sync is proven; 0: not proven
    std::vector<Request> unanswered;  ///< reads since the last proof whose answers may still come; one of each shape
    unsigned silent_probes = 0;       ///< sync probes past the map that met silence, in a row
    std::uint64_t known_in = 0;       ///< the link's session in which it said who it is; 0: it must be asked
    Deadline known_until{};           ///< and how long that holds
    std::string says;                 ///< what it calls itself
    std::string stranger_trouble;     ///< why it is not believed; empty: it is
    unsigned identity_misses = 0;     ///< times in a row that the question met silence
    unsigned identity_rest = 0;       ///< polls for which it is not asked
    Deadline heard_at{};              ///< its last answer
    Deadline spoken_at{};             ///< end of the last exchange with it
  };
  struct Poll;
  struct Introduction;
  enum class Standing { believed, stranger, unproven };

  ModbusBus(std::vector<MeterSetup> meters, std::chrono::milliseconds timeout, int request_costs);
  Exchange ask(Meter& meter, const Bytes& pdu, Deadline deadline, Urgency urgency, Stray stray);
  Exchange ask_read(Meter& meter, const Request& request, Deadline deadline, Urgency urgency);
  bool prove_sync(Meter& meter, Poll& poll);
  Standing prove_identity(Meter& meter, Poll& poll);
  Introduction introduce(Meter& meter, Poll& poll);
  Standing judge_identity(Meter& meter, const Introduction& introduction, Poll& poll);
  std::string look_for_slip(Meter& meter, const std::string& says, Poll& poll);
  bool is_trusted_with_output(Meter& meter, Poll& poll);
  static void note_one_off(const Meter& meter, Poll& poll);
  bool read_in_parts(Meter& meter, Request request, Poll& poll, std::vector<Request>& kept);
  static void fill(const Meter& meter, const Request& request, const Bytes& data, MeterReply& reply);
  static void fill(const Request& request, Quality quality, MeterReply& reply);

  std::chrono::milliseconds timeout_;
  std::chrono::milliseconds call_deadline_;
  BusCounters counters_;
  std::vector<Meter> meters_;
  std::unique_ptr<Link> link_;
};

}  // namespace steadyglow::drivers::modbus
