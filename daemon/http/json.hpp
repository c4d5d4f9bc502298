#pragma once
/// The objects of API.md, keys in its order.
#include <nlohmann/json_fwd.hpp>

#include <string>

#include "core/result.hpp"
#include "http/view.hpp"

namespace steadyglow::http {

nlohmann::ordered_json to_json(const MeterView& meter);
nlohmann::ordered_json to_json(const BusView& bus);
nlohmann::ordered_json to_json(const StoreView& store);
nlohmann::ordered_json to_json(const StageView& stage);
nlohmann::ordered_json to_json(const VerdictView& verdict);
nlohmann::ordered_json to_json(const InterruptionView& gap);
nlohmann::ordered_json to_json(const SegmentView& segment);
nlohmann::ordered_json to_json(const PolicyView& policy);
nlohmann::ordered_json to_json(const RunView& run);
nlohmann::ordered_json to_json(const OutletView& outlet);
nlohmann::ordered_json to_json(const WorstView& worst);
nlohmann::ordered_json to_json(const PointView& point);
nlohmann::ordered_json to_json(const UnitView& unit);
nlohmann::ordered_json to_json(const AlarmView& alarm);
nlohmann::ordered_json to_json(const SupplyView& bench);
nlohmann::ordered_json to_json(const ToldView& told);
nlohmann::ordered_json to_json(const IncidentView& incident);
nlohmann::ordered_json to_json(const RouteView& route);
nlohmann::ordered_json to_json(const NotifyView& notify);
nlohmann::ordered_json to_json(const AlarmFiguresView& figures);
nlohmann::ordered_json to_json(const BenchView& bench);
/// {"error", "hint"}
nlohmann::ordered_json to_json(const Error& error);

/// One line of UTF-8. Bytes that are no UTF-8 become U+FFFD: they may come from a client, and must not stop an answer.
/// A number that is not finite becomes null.
std::string to_line(const nlohmann::ordered_json& json);
std::string to_line(const nlohmann::json& json);

}  // namespace steadyglow::http
