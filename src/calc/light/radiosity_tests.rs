use super::*;

fn room(plan: &Plan, height: f64, patch: f64) -> (Mesh, Exchange) {
    let mesh = Mesh::new(plan, height, patch);
    let exchange = Exchange::new(plan, &mesh);
    (mesh, exchange)
}

#[test]
fn the_rows_of_a_rectangular_room_close_by_themselves() {
    let (_, exchange) = room(&Plan::rectangle(4.0, 3.2).unwrap(), 2.4, 0.4);
    assert!(exchange.row_error() < 1e-9, "{}", exchange.row_error());
}

#[test]
fn whole_surfaces_exchange_by_the_published_factors() {
    // Floor 4 × 3.2 under 2.4: ceiling 0.316320, long wall 0.191001, short wall 0.150839 (exact polygon factors from an
    // open package).
    let (mesh, exchange) = room(&Plan::rectangle(4.0, 3.2).unwrap(), 2.4, 0.4);
    let mut given = vec![0.0; mesh.patch_count()];
    given[..mesh.cells.len()].fill(1.0);
    let flux = exchange.received(&given);
    let ceiling: f64 = flux[mesh.cells.len()..mesh.walls_from()].iter().sum();
    assert!((ceiling / 12.8 - 0.316_319_8).abs() < 1e-7);
    let on_wall = |axis: usize| {
        let columns = mesh.columns.iter().enumerate().filter(move |(_, column)| column.axis == axis);
        let levels = mesh.level_count();
        let of = |index: usize| &flux[mesh.walls_from() + index * levels..mesh.walls_from() + (index + 1) * levels];
        columns.map(|(index, _)| of(index).iter().sum::<f64>()).sum::<f64>() / 2.0
    };
    assert!((on_wall(0) / 12.8 - 0.191_001).abs() < 1e-6);
    assert!((on_wall(1) / 12.8 - 0.150_839).abs() < 1e-6);
}

#[test]
fn an_even_enclosure_multiplies_light_by_the_integrating_sphere_rule() {
    // Sumpner: mean total = Φ/[S(1 − ρ)], whatever the shape and wherever the light falls first.
    let l_room = Plan::outline(&[[0.0, 0.0], [4.0, 0.0], [4.0, 1.2], [1.6, 1.2], [1.6, 3.0], [0.0, 3.0]]).unwrap();
    for plan in [Plan::rectangle(4.0, 4.0).unwrap(), l_room] {
        let (mesh, exchange) = room(&plan, 2.4, 0.4);
        let areas = mesh.areas();
        let surface: f64 = areas.iter().sum();
        for rho in [0.05, 0.5, 0.8, 0.95] {
            let mut direct = vec![0.0; areas.len()];
            direct[3] = 10_000.0 / areas[3];
            let solution = exchange.solve(&direct, &vec![rho; areas.len()]);
            let flux = dot(&solution.illuminance_lx, &areas);
            let exact = 10_000.0 / (1.0 - rho);
            // Where corners hide something, the rows are closed to a millionth, and each reflection adds to it.
            let tolerance = if plan.is_rectangle() { 1e-7 } else { 5e-5 };
            assert!((flux / exact - 1.0).abs() < tolerance, "{rho}: {flux} {exact} over {surface} m²");
            assert!(solution.rounds < 100);
        }
    }
}

#[test]
fn light_goes_both_ways_the_same_even_round_a_corner() {
    let plan = Plan::outline(&[[0.0, 0.0], [4.0, 0.0], [4.0, 1.2], [1.6, 1.2], [1.6, 3.0], [0.0, 3.0]]).unwrap();
    let (mesh, exchange) = room(&plan, 2.4, 0.6);
    let count = mesh.patch_count();
    let one = |index: usize| {
        let mut given = vec![0.0; count];
        given[index] = 1.0;
        exchange.received(&given)
    };
    for (a, b) in [(0, count - 1), (3, count / 2), (1, mesh.walls_from() + 5)] {
        assert!((one(a)[b] - one(b)[a]).abs() < 1e-12);
    }
    assert!(exchange.row_error() < 0.1, "{}", exchange.row_error());
}

#[test]
fn an_outline_that_is_a_rectangle_exchanges_as_one() {
    let plain = Plan::rectangle(2.0, 1.6).unwrap();
    let (mesh, exchange) = room(&plain, 2.4, 0.4);
    let shifted = Plan::outline(&[[1.0, 1.0], [3.0, 1.0], [3.0, 2.6], [1.0, 2.6]]).unwrap();
    let (_, other) = room(&shifted, 2.4, 0.4);
    let given: Vec<f64> = (0..mesh.patch_count()).map(|index| (index % 7) as f64).collect();
    for (a, b) in exchange.received(&given).iter().zip(other.received(&given)) {
        assert!((a - b).abs() < 1e-9);
    }
}
