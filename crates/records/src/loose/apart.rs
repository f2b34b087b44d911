//! Columns that are not read and tell things apart all the same: with `Engine, Cylinder, Valve` the intake valves of two cylinders would be one
//! valve that was read twice.

use super::grid::{Raw, Row};
use super::headings::Heading;
use super::layout::{IGNORE, Layout};
use hashbrown::{DefaultHashBuilder, HashMap};
use std::hash::{BuildHasher, Hasher};

/// Fields that may tell rows apart, and what was seen in them.
#[derive(Default)]
pub(super) struct Apart {
    fields: Vec<usize>,
    /// The fields that say which reading a row is.
    keys: Vec<usize>,
    /// By what a row is of and by field: the line it was first seen in, and what stood in the field.
    seen: HashMap<u64, (u32, u64)>,
    hasher: DefaultHashBuilder,
    told: Vec<usize>,
}

/// A field that tells two rows apart which are one reading otherwise.
pub(super) struct Told {
    pub(super) field: usize,
    pub(super) first_line: u32,
}

impl Apart {
    /// `value` is the column of what was read; `given` what the user says of headings.
    pub(super) fn of(layout: &Layout, headings: &[String], value: Option<usize>, given: &[(String, String)]) -> Self {
        let is_read = |field: &usize| {
            let wide = layout.wide.iter().flat_map(|wide| &wide.fields).any(|(other, _)| other == field);
            wide || layout.places.contains(&Some(*field)) || layout.units.contains(field)
        };
        let is_ignored =
            |raw: &String| given.iter().any(|(name, heading)| name == IGNORE && heading.eq_ignore_ascii_case(raw));
        let fields = (0..headings.len())
            .filter(|field| !is_read(field) && !is_ignored(&headings[*field]))
            .filter(|field| Heading::of(&headings[*field]).tells_apart())
            .collect();
        let keys = layout.places.iter().enumerate().filter(|(column, _)| Some(*column) != value);
        Self { fields, keys: keys.filter_map(|(_, field)| *field).collect(), ..Self::default() }
    }

    /// The field, seen for the first time, in which a row differs from an earlier one of the same reading.
    pub(super) fn told(&mut self, row: &Row<'_, '_>) -> Option<Told> {
        if self.fields.is_empty() {
            return None;
        }
        let shown = |field: usize| row.cells.get(field).map_or_else(String::new, Raw::shown);
        let names: Vec<String> = self.keys.iter().map(|field| shown(*field)).collect();
        let mut found = None;
        for &field in &self.fields {
            let here = shown(field);
            if here.is_empty() || self.told.contains(&field) {
                continue;
            }
            let mut key = self.hasher.build_hasher();
            names.iter().for_each(|name| {
                key.write(name.as_bytes());
                key.write_u8(0xFF);
            });
            key.write_usize(field);
            let here = self.hasher.hash_one(&here);
            match self.seen.get(&key.finish()) {
                Some((first_line, there)) if *there != here => {
                    found = found.or(Some(Told { field, first_line: *first_line }));
                    self.told.push(field);
                }
                Some(_) => {}
                None => drop(self.seen.insert(key.finish(), (row.line, here))),
            }
        }
        found
    }
}
