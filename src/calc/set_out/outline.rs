//! The room's outline as a box with the parts that are no room.

use super::case::Room;
use super::site::um;
use crate::calc::plan::Plan;
use crate::case::CaseError;
use crate::quantity::Length;

/// A rectangle as lower and upper corner, in micrometres.
pub(super) type Corners = [[i64; 2]; 2];

/// The checked plan of a case's room, which begins at the origin.
///
/// # Errors
/// [`CaseError`] at the key of the room that makes no sense.
pub(super) fn plan(room: &Room) -> Result<Plan, CaseError> {
    let plan = Plan::of_room(room.length, room.width, room.outline.as_deref())?;
    let (low, _) = plan.bounds();
    if low.iter().any(|place| um(Length(*place)) != 0) {
        let message = "the least x and the least y of the corners must be 0, for holes are measured from there";
        return Err(CaseError::at("room.outline", message));
    }
    Ok(plan)
}

/// The extent of the box around a plan, in micrometres.
pub(super) fn extent(plan: &Plan) -> [i64; 2] {
    plan.bounds().1.map(|place| um(Length(place)))
}

/// The parts of the box that are no room, as rectangles that don't overlap.
///
/// Each strip between neighbouring corners is cut into runs; a run that goes on unchanged in the next strip grows.
pub(super) fn notches(plan: &Plan) -> Vec<Corners> {
    let (xs, ys) = (plan.breaks(0), plan.breaks(1));
    let mut done: Vec<Corners> = Vec::new();
    let mut growing: Vec<Corners> = Vec::new();
    for y in ys.windows(2) {
        let mut runs: Vec<Corners> = Vec::new();
        for x in xs.windows(2) {
            if plan.contains((x[0] + x[1]) / 2.0, (y[0] + y[1]) / 2.0) {
                continue;
            }
            let [from, to] = [[x[0], y[0]], [x[1], y[1]]].map(|corner| corner.map(|place| um(Length(place))));
            match runs.last_mut() {
                Some(run) if run[1][0] == from[0] => run[1] = to,
                _ => runs.push([from, to]),
            }
        }
        for run in &mut runs {
            let same = |below: &Corners| below[0][0] == run[0][0] && below[1] == [run[1][0], run[0][1]];
            if let Some(index) = growing.iter().position(same) {
                run[0] = growing.swap_remove(index)[0];
            }
        }
        done.append(&mut growing);
        growing = runs;
    }
    done.append(&mut growing);
    done.sort_unstable();
    done
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn notches_of(corners: &[[f64; 2]]) -> Vec<Corners> {
        notches(&Plan::outline(corners).unwrap())
    }

    #[test]
    fn an_l_lacks_one_corner_and_a_chimney_breast_one_piece() {
        let l = notches_of(&[[0.0, 0.0], [5.0, 0.0], [5.0, 2.0], [2.0, 2.0], [2.0, 4.0], [0.0, 4.0]]);
        assert_eq!(l, [[[2_000_000, 2_000_000], [5_000_000, 4_000_000]]]);
        let breast = [[0.0, 0.0], [1.0, 0.0], [1.0, 0.4], [2.5, 0.4], [2.5, 0.0], [4.0, 0.0], [4.0, 3.0], [0.0, 3.0]];
        assert_eq!(notches_of(&breast), [[[1_000_000, 0], [2_500_000, 400_000]]]);
    }

    #[test]
    fn a_rectangle_lacks_nothing_and_a_t_two_corners() {
        assert!(notches(&Plan::rectangle(4.0, 3.0).unwrap()).is_empty());
        let t = [[1.0, 0.0], [2.0, 0.0], [2.0, 2.0], [3.0, 2.0], [3.0, 3.0], [0.0, 3.0], [0.0, 2.0], [1.0, 2.0]];
        let found = notches_of(&t);
        assert_eq!(found, [[[0, 0], [1_000_000, 2_000_000]], [[2_000_000, 0], [3_000_000, 2_000_000]]]);
    }
}
