#![allow(clippy::unwrap_used, reason = "a failed unwrap fails the test")]
use super::*;
use crate::fingerprint::sha256_of_file;
use std::collections::BTreeMap;

/// Writes a folder of results.
fn write(target: &Path, files: &[(&str, &str)], inputs: &[InputFile], force: bool) -> Result<(), FolderError> {
    let mut folder = FolderWriter::new(target)?;
    for (name, text) in files {
        folder.file(name, |out| out.write_all(text.as_bytes()))?;
    }
    folder.commit(inputs, force)
}

/// The files of a folder but for the list, with their texts.
fn files(folder: &Path) -> BTreeMap<String, String> {
    fn add(folder: &Path, below: &Path, all: &mut BTreeMap<String, String>) {
        for entry in fs::read_dir(folder.join(below)).unwrap().flatten() {
            let name = below.join(entry.file_name());
            if entry.path().is_dir() {
                add(folder, &name, all);
            } else if name != Path::new(LIST) {
                all.insert(name.display().to_string(), fs::read_to_string(entry.path()).unwrap());
            }
        }
    }
    let mut all = BTreeMap::new();
    add(folder, Path::new(""), &mut all);
    all
}

fn expect(folder: &Path, wanted: &[(&str, &str)]) {
    let wanted: BTreeMap<String, String> = wanted.iter().map(|(n, t)| ((*n).to_owned(), (*t).to_owned())).collect();
    assert_eq!(files(folder), wanted);
}

fn alone(parent: &Path, name: &str) {
    let names: Vec<_> = fs::read_dir(parent).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    assert_eq!(names, [name], "something was left beside");
}

#[test]
fn a_folder_is_new_as_a_whole_and_a_run_again_needs_no_leave() {
    let parent = tempfile::tempdir().unwrap();
    let target = parent.path().join("report");
    write(&target, &[("report.html", "1"), ("tables/a.csv", "1"), ("tables/b.csv", "1")], &[], false).unwrap();
    write(&target, &[("report.html", "2"), ("tables/b.csv", "2"), ("figures/c.svg", "2")], &[], false).unwrap();
    expect(&target, &[("report.html", "2"), ("tables/b.csv", "2"), ("figures/c.svg", "2")]);
    alone(parent.path(), "report");
}

#[test]
fn a_folder_that_is_not_ours_is_refused_without_force_and_keeps_the_users_files_with_it() {
    let parent = tempfile::tempdir().unwrap();
    let target = parent.path().join("mine");
    fs::create_dir_all(target.join("tables")).unwrap();
    fs::write(target.join("report.html"), "mine").unwrap();
    fs::write(target.join("tables/notes.csv"), "mine").unwrap();
    assert!(matches!(may_be_written(&target), Err(FolderError::NotOurs { .. })));
    let error = write(&target, &[("report.html", "new")], &[], false).unwrap_err();
    assert!(error.to_string().contains("report.html, tables"), "{error}");
    expect(&target, &[("report.html", "mine"), ("tables/notes.csv", "mine")]);
    write(&target, &[("report.html", "new"), ("tables/a.csv", "new")], &[], true).unwrap();
    expect(&target, &[("report.html", "new"), ("tables/a.csv", "new"), ("tables/notes.csv", "mine")]);
    alone(parent.path(), "mine");
}

#[test]
fn a_result_that_was_changed_since_is_the_users() {
    let parent = tempfile::tempdir().unwrap();
    let target = parent.path().join("report");
    write(&target, &[("report.html", "1"), ("tables/a.csv", "1")], &[], false).unwrap();
    fs::write(target.join("tables/a.csv"), "edited").unwrap();
    assert!(matches!(may_be_written(&target), Err(FolderError::NotOurs { .. })));
    let error = write(&target, &[("report.html", "2")], &[], false).unwrap_err();
    assert!(matches!(&error, FolderError::NotOurs { files, .. } if *files == [Path::new("tables/a.csv")]), "{error}");
    // With leave what the run does not write stays all the same.
    write(&target, &[("report.html", "2")], &[], true).unwrap();
    expect(&target, &[("report.html", "2"), ("tables/a.csv", "edited")]);
}

#[test]
fn files_and_folders_of_the_users_beside_ours_stay() {
    let parent = tempfile::tempdir().unwrap();
    let target = parent.path().join("report");
    write(&target, &[("report.html", "1"), ("tables/a.csv", "1")], &[], false).unwrap();
    fs::write(target.join("tables/mine.csv"), "mine").unwrap();
    fs::write(target.join("mine.txt"), "mine").unwrap();
    write(&target, &[("report.html", "2")], &[], false).unwrap();
    expect(&target, &[("report.html", "2"), ("mine.txt", "mine"), ("tables/mine.csv", "mine")]);
    fs::create_dir_all(target.join("photos/old")).unwrap();
    fs::write(target.join("photos/old/1.txt"), "mine").unwrap();
    write(&target, &[("report.html", "3"), ("tables/b.csv", "3")], &[], false).unwrap();
    let mine = [("mine.txt", "mine"), ("tables/mine.csv", "mine"), ("photos/old/1.txt", "mine")];
    expect(&target, &[&[("report.html", "3"), ("tables/b.csv", "3")], &mine[..]].concat());
    alone(parent.path(), "report");
    // A file of the user's under a name that the next run wants.
    assert!(write(&target, &[("report.html", "4"), ("mine.txt", "ours")], &[], false).is_err());
    // A folder is never replaced by a file.
    assert!(write(&target, &[("photos", "ours")], &[], true).is_err());
    assert!(target.join("photos/old/1.txt").exists());
}

#[test]
fn an_input_is_never_replaced_nor_taken_away_whatever_leads_to_it() {
    let parent = tempfile::tempdir().unwrap();
    let target = parent.path().join("plan");
    write(&target, &[("report.html", "1"), ("tables/demand.csv", "1")], &[], false).unwrap();
    let link = parent.path().join("demand.csv");
    fs::hard_link(target.join("tables/demand.csv"), &link).unwrap();
    let paths = [target.join("tables/demand.csv"), target.join("tables/../tables/demand.csv"), link.clone()];
    for path in paths {
        let input = InputFile { path, sha256: sha256_of_file(&link).unwrap() };
        for new in [&[("report.html", "2")][..], &[("tables/demand.csv", "2")]] {
            let error = write(&target, new, std::slice::from_ref(&input), true).unwrap_err();
            assert!(matches!(error, FolderError::InputInside { .. }), "{error}");
        }
        expect(&target, &[("report.html", "1"), ("tables/demand.csv", "1")]);
        // It may stay as it is.
        write(&target, &[("report.html", "1"), ("tables/demand.csv", "1")], &[input], false).unwrap();
        fs::remove_file(&link).unwrap();
        fs::hard_link(target.join("tables/demand.csv"), &link).unwrap();
    }
}

#[test]
fn what_is_given_is_the_users_from_then_on() {
    let parent = tempfile::tempdir().unwrap();
    let target = parent.path().join("tour");
    let tour = |pack: &str, force: bool| {
        let mut folder = FolderWriter::new(&target).unwrap();
        folder.give("pack.toml", pack.as_bytes()).unwrap();
        folder.file("report.html", |out| out.write_all(pack.as_bytes())).unwrap();
        folder.commit(&[], force)
    };
    tour("as made", false).unwrap();
    tour("as made", false).unwrap();
    fs::write(target.join("pack.toml"), "edited").unwrap();
    assert!(
        matches!(tour("as made", false), Err(FolderError::NotOurs { files, .. }) if files == [Path::new("pack.toml")])
    );
    // Another run in this folder leaves it.
    write(&target, &[("report.html", "stack")], &[], false).unwrap();
    expect(&target, &[("report.html", "stack"), ("pack.toml", "edited")]);
    tour("as made", true).unwrap();
    expect(&target, &[("report.html", "as made"), ("pack.toml", "as made")]);
}

#[test]
fn a_move_that_was_cut_short_is_finished_by_the_next_run() {
    let parent = tempfile::tempdir().unwrap();
    let target = parent.path().join("report");
    write(&target, &[("report.html", "1"), ("tables/a.csv", "1")], &[], false).unwrap();
    let other = parent.path().join("other");
    write(&other, &[("report.html", "2"), ("tables/b.csv", "2")], &[], false).unwrap();
    // As if killed after the first of the files had been moved in.
    fs::rename(&other, target.join(READY)).unwrap();
    fs::rename(target.join(READY).join("report.html"), target.join("report.html")).unwrap();
    moving::settle(&target).unwrap();
    expect(&target, &[("report.html", "2"), ("tables/b.csv", "2")]);
    may_be_written(&target).unwrap();
    assert!(!target.join(READY).exists());
}

#[test]
fn a_folder_is_moved_aside_where_two_cannot_change_places() {
    let parent = tempfile::tempdir().unwrap();
    let target = parent.path().join("report");
    write(&target, &[("report.html", "1")], &[], false).unwrap();
    let mut folder = FolderWriter::new(&target).unwrap();
    folder.file("report.html", |out| out.write_all(b"2")).unwrap();
    assert!(aside(&folder.workshop, &target));
    expect(&target, &[("report.html", "2")]);
    drop(folder);
    alone(parent.path(), "report");
}

#[cfg(unix)]
#[test]
fn a_link_to_a_folder_stays_a_link_and_modes_stay() {
    use std::os::unix::fs::PermissionsExt;
    let parent = tempfile::tempdir().unwrap();
    let (real, link) = (parent.path().join("real"), parent.path().join("link"));
    fs::create_dir(&real).unwrap();
    fs::set_permissions(&real, fs::Permissions::from_mode(0o750)).unwrap();
    std::os::unix::fs::symlink(&real, &link).unwrap();
    write(&link, &[("report.html", "1")], &[], false).unwrap();
    assert!(fs::symlink_metadata(&link).unwrap().is_symlink());
    expect(&real, &[("report.html", "1")]);
    assert_eq!(fs::metadata(&real).unwrap().permissions().mode() & 0o777, 0o750);
}

#[test]
fn a_writer_that_fails_leaves_the_old_folder_and_nothing_beside() {
    let parent = tempfile::tempdir().unwrap();
    let target = parent.path().join("report");
    write(&target, &[("report.html", "1")], &[], false).unwrap();
    let mut folder = FolderWriter::new(&target).unwrap();
    folder.file("report.html", |out| out.write_all(b"2")).unwrap();
    folder.file("result.json", |_| Err(io::Error::other("no space left"))).unwrap_err();
    drop(folder);
    expect(&target, &[("report.html", "1")]);
    alone(parent.path(), "report");
    fs::write(parent.path().join("file"), "mine").unwrap();
    assert!(FolderWriter::new(&parent.path().join("file")).is_err());
    assert!(FolderWriter::new(&parent.path().join("file/report")).is_err());
}
