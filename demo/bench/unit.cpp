#include "demo/bench/unit.hpp"

#include "demo/bench/class_ab_amp.hpp"
#include "demo/bench/line_preamp.hpp"
#include "demo/bench/tube_amp.hpp"

namespace steadyglow::demo {

std::unique_ptr<Unit> make_unit(Model model, double room_celsius) {
  switch (model) {
    case Model::brindlecombe35: return std::make_unique<TubeAmp>(room_celsius);
    case Model::fennimark120: return std::make_unique<ClassAbAmp>(room_celsius);
    case Model::hollin_p4: break;
  }
  return std::make_unique<LinePreamp>(room_celsius);
}

}  // namespace steadyglow::demo
