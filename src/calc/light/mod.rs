//! Light: how fittings shine, and what arrives where, direct and reflected.
//!
//! [`figure`] answers a whole case. Below it, [`illuminance`] gives direct light on planes by itself, [`radiosity`] and
//! [`gather`] the reflected light, [`lumen_method`] a second opinion, [`lm63`] reads photometric files.

pub mod answer;
pub mod case;
pub mod exchange;
pub mod fine;
pub mod gather;
pub mod illuminance;
pub mod lm63;
pub mod lumen_method;
pub mod mesh;
pub mod photometry;
pub mod radiosity;
pub mod scene;
pub mod sight;
pub mod table;

use crate::case::CaseError;
use crate::facts::Facts;

pub use answer::Answer;
pub use case::Case;

use answer::{Asked, Finding, KindOfLight, LumenMethod, Plane, Planes, Radiosity, Spot, Surfaces};
use case::{Checked, Kind};
use exchange::dot;
use gather::Gather;
use illuminance::{Placed, PlaneFigures};
use lumen_method::{Cavities, Reflectances, ZonalFlux};
use mesh::Mesh;
use radiosity::Exchange;
use scene::Scene;

/// How many of the darkest places are named.
const SPOTS: usize = 4;
/// How far apart these are at least, in metres.
const SPOTS_APART_M: f64 = 0.75;

/// Computes the light of a case.
///
/// # Errors
/// [`CaseError`] with the key and what was expected.
pub fn figure(case: &Case, facts: &Facts) -> Result<Answer, CaseError> {
    let checked = case.check()?;
    let scene = case.scene(&checked);
    let maintenance = case.maintenance.factor;
    let mesh = Mesh::new(&checked.plan, checked.height_m, case.grid.patch.0);
    let direct = scene.direct_on_patches(&mesh);
    let rho = &case.room.reflectance;
    let reflectance = reflectance_of(&mesh, [rho.floor, rho.ceiling, rho.walls]);
    let exchange = Exchange::new(&checked.plan, &mesh);
    let solution = exchange.solve(&direct, &reflectance);
    let parts = fine::exitance(&scene, &mesh, &direct, &solution.illuminance_lx, &reflectance);
    let gather = Gather::new(&checked.plan, &mesh, &solution.exitance, &parts);

    let points = checked.points.points(&checked.plan)?;
    let plane = |height_m: f64| plane(&scene, &gather, &checked, height_m, &points, maintenance);
    let (floor, _) = plane(0.0)?;
    let (work, work_values) = plane(case.grid.work_plane.0)?;

    let areas = mesh.areas();
    let absorbed: f64 =
        (0..areas.len()).map(|index| (1.0 - reflectance[index]) * solution.illuminance_lx[index] * areas[index]).sum();
    let surfaces = surfaces(&mesh, &areas, &solution.illuminance_lx, &direct, maintenance);
    let energy_balance = absorbed / scene.emitted_lm();
    Ok(Answer {
        planes: Planes { floor, work },
        surfaces,
        energy_balance,
        lumen_method: lumen_method(case, &checked, &scene, facts),
        photometry: checked.kinds.iter().map(|(name, kind)| (name.clone(), kind_of_light(kind))).collect(),
        spots: spots(&points, &work_values),
        asked: asked(case, &scene, &gather),
        findings: findings(&work, &surfaces, facts),
        radiosity: Radiosity {
            patches: mesh.patch_count(),
            rounds: solution.rounds,
            row_sum_error: exchange.row_error(),
        },
        maintenance_factor: maintenance,
        notes: notes(case, &checked, energy_balance),
    })
}

/// The reflectance of every patch, from those of floor, ceiling and walls.
fn reflectance_of(mesh: &Mesh, [floor, ceiling, walls]: [f64; 3]) -> Vec<f64> {
    let cells = mesh.cells.len();
    let mut all = vec![walls; mesh.patch_count()];
    all[..cells].fill(floor);
    all[cells..2 * cells].fill(ceiling);
    all
}

/// The figures of a plane, and the total at each point.
fn plane(
    scene: &Scene,
    gather: &Gather,
    checked: &Checked,
    height_m: f64,
    points: &[[f64; 2]],
    maintenance: f64,
) -> Result<(Plane, Vec<f64>), CaseError> {
    let up = [0.0, 0.0, 1.0];
    let direct: Vec<f64> = points.iter().map(|[x, y]| maintenance * scene.direct_lx([*x, *y, height_m], up)).collect();
    let mut reflected = gather.on_grid(height_m, &checked.points, points)?;
    reflected.iter_mut().for_each(|value| *value *= maintenance);
    let total: Vec<f64> = direct.iter().zip(&reflected).map(|(direct, reflected)| direct + reflected).collect();
    let figures = Plane {
        height_m,
        direct: PlaneFigures::of(&direct),
        reflected: PlaneFigures::of(&reflected),
        total: PlaneFigures::of(&total),
    };
    Ok((figures, total))
}

fn surfaces(mesh: &Mesh, areas: &[f64], illuminance_lx: &[f64], direct: &[f64], maintenance: f64) -> Surfaces {
    let mean = |from: usize, to: usize, values: &[f64]| {
        let area: f64 = areas[from..to].iter().sum();
        maintenance * values[from..to].iter().zip(&areas[from..to]).map(|(lux, area)| lux * area).sum::<f64>() / area
    };
    let (cells, walls, all) = (mesh.cells.len(), mesh.walls_from(), areas.len());
    Surfaces {
        floor_average_lx: mean(0, cells, illuminance_lx),
        ceiling_average_lx: mean(cells, walls, illuminance_lx),
        walls_average_lx: mean(walls, all, illuminance_lx),
        reflected_average_lx: mean(0, all, illuminance_lx) - mean(0, all, direct),
    }
}

fn lumen_method(case: &Case, checked: &Checked, scene: &Scene, facts: &Facts) -> Option<LumenMethod> {
    let fittings: &[Placed] = &scene.fittings[..case.fitting.len()];
    let flux: f64 = fittings.iter().map(|fitting| fitting.photometry.flux_lm()).sum();
    if flux <= 0.0 {
        return None;
    }
    // Fittings at different heights count at their mean height by flux.
    let weighted = fittings.iter().map(|fitting| fitting.at_m[2] * fitting.photometry.flux_lm());
    let fittings_m = weighted.sum::<f64>() / flux;
    let cavities = Cavities::new(&checked.plan, checked.height_m, fittings_m, case.grid.work_plane.0)?;
    let in_ceiling = |fitting: &Placed| fitting.at_m[2] > checked.height_m - 1e-6;
    let zones = ZonalFlux::of(fittings.iter().map(|fitting| (fitting.photometry, in_ceiling(fitting))));
    let rho = &case.room.reflectance;
    let surfaces = Reflectances { ceiling: rho.ceiling, walls: rho.walls, floor: rho.floor };
    let utilisation_factor = cavities.utilisation_factor(surfaces, &zones, facts);
    let source = facts.table("light.zonal_multiplier").rows.first().map_or(String::new(), |row| row.source.to_string());
    Some(LumenMethod {
        room_index: cavities.room_index(),
        utilisation_factor,
        average_lx: cavities.average_lx(flux, utilisation_factor, case.maintenance.factor),
        source,
    })
}

fn kind_of_light(kind: &Kind) -> KindOfLight {
    let light = &kind.photometry;
    KindOfLight {
        flux_lm: light.flux_lm(),
        peak_cd: light.peak_cd(),
        centre_cd: light.centre_cd(),
        beam_deg: light.beam_deg(),
        beam_of_peak_deg: light.full_angle(0.5, light.peak_cd()),
        field_deg: light.field_deg(),
        edition: kind.file.as_ref().map(|file| file.edition.name()),
        stated_lm: kind.file.as_ref().and_then(|file| file.lamp_lumens),
        model: light.model(),
        likely_error: light.likely_error(),
    }
}

/// The darkest places, each well apart from the darker ones.
fn spots(points: &[[f64; 2]], values_lx: &[f64]) -> Vec<Spot> {
    let mut order: Vec<usize> = (0..points.len()).collect();
    order.sort_by(|a, b| values_lx[*a].total_cmp(&values_lx[*b]).then(a.cmp(b)));
    let mut found: Vec<Spot> = Vec::new();
    for index in order {
        let [x, y] = points[index];
        if found.iter().all(|spot| (spot.x - x).hypot(spot.y - y) >= SPOTS_APART_M) {
            found.push(Spot { x, y, lx: values_lx[index] });
        }
        if found.len() == SPOTS {
            break;
        }
    }
    found
}

fn asked(case: &Case, scene: &Scene, gather: &Gather) -> Vec<Asked> {
    let answer = |point: &case::Point| {
        let at = [point.x.0, point.y.0, point.z.0];
        let length = dot(point.normal, point.normal).sqrt();
        let normal = point.normal.map(|part| part / length);
        let direct_lx = case.maintenance.factor * scene.direct_lx(at, normal);
        let reflected_lx = case.maintenance.factor * gather.at_point(at, normal);
        Asked { x: at[0], y: at[1], z: at[2], direct_lx, reflected_lx, total_lx: direct_lx + reflected_lx }
    };
    case.point.iter().map(answer).collect()
}

fn findings(work: &Plane, surfaces: &Surfaces, facts: &Facts) -> Vec<Finding> {
    let figures = [
        ("uniformity", "light.uniformity", work.total.uniformity),
        ("walls_average_lx", "light.walls_average", surfaces.walls_average_lx),
        ("ceiling_average_lx", "light.ceiling_average", surfaces.ceiling_average_lx),
    ];
    let held = figures.into_iter().filter_map(|(id, name, value)| {
        let fact = facts.get(name)?;
        Some(Finding {
            id,
            value,
            limit: fact.value,
            unit: fact.unit.clone(),
            side: fact.side.clone(),
            verdict: if value >= fact.value { "within" } else { "outside" },
            source: fact.source.to_string(),
        })
    });
    held.collect()
}

fn notes(case: &Case, checked: &Checked, energy_balance: f64) -> Vec<String> {
    let mut notes = vec![String::from(
        "Empty room, evenly diffuse surfaces; furniture, doors and daylight are left out. No standard rules the lux of a home.",
    )];
    for (name, kind) in &checked.kinds {
        notes.push(format!("{name}: {}; {}.", kind.photometry.model(), kind.photometry.likely_error()));
        let Some(file) = &kind.file else { continue };
        let (flux, down) = (kind.photometry.flux_lm(), kind.photometry.flux_between(0.0, 90.0));
        if down < 0.5 * flux {
            notes.push(format!("{name}: most of the light goes up; in a ceiling that part is lost."));
        }
        if file.lamp_lumens.is_some_and(|stated| flux > 1.02 * stated) {
            notes.push(format!("{name}: the intensities hold more light than the lamps that the file states."));
        }
    }
    if (energy_balance - 1.0).abs() > 0.005 {
        let off = crate::quantity::plain(100.0 * (energy_balance - 1.0), 1);
        notes.push(format!("The energy balance is off by {off} %: try a smaller `grid.patch`."));
    }
    if case.maintenance.factor == 1.0 {
        notes.push(String::from("The maintenance factor is 1: these are the figures of the first day."));
    }
    notes
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests;

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod particle_tests;

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod property_tests;
