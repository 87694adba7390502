//! Several processes, and several lists.

use axiswright::ledger::durable::PipelineLock;

use crate::clinic::Clinic;

#[test]
fn people_act_while_the_pipeline_is_locked_and_a_second_pass_does_not_run() {
    let clinic = Clinic::new();
    clinic.biometer();
    clinic.list("list.csv", &["B-3101"], |line| line);
    clinic.once().exits(1);
    let id = clinic.id();
    assert_eq!(clinic.case()["state"], "held");
    let lock = PipelineLock::take(&clinic.file("work/pipeline.lock")).unwrap();
    clinic.once().fails(3, "locked by another process");
    clinic.at_now(&["once", "--json"]).fails_json(3, "ledger");
    let answer =
        ["answer", &id, "--finding", "A04", "--reason", "second instrument is broken", "--by", "Dr. I. Vost"];
    clinic.at_now(&answer).exits(0);
    clinic.on(&["user", "list"]).exits(0);
    assert_eq!(clinic.case()["state"], "planned", "what was flagged waits for the surgeon's approval");
    clinic.at_now(&["answer", &id, "--approve", "--by", "Dr. I. Vost"]).exits(0);
    drop(lock);
    clinic.once().exits(0);
    assert_eq!(clinic.case()["state"], "released");
}

/// Where the incision of the one case goes, as its numbers say.
fn incision(clinic: &Clinic) -> String {
    let explained = clinic.at_now(&["explain", &clinic.id(), "--json"]).exits(0).json();
    let steps = explained["steps"].as_array().unwrap();
    let inputs = steps.iter().flat_map(|step| step["inputs"].as_array().unwrap());
    let mut incisions = inputs.filter(|input| input["label"] == "incision");
    let said = incisions.next().expect("an incision")["value"].as_str().unwrap().to_owned();
    said.split(',').next().unwrap().to_owned()
}

#[test]
fn the_list_that_came_last_is_in_force_though_its_bytes_came_before() {
    let clinic = Clinic::released();
    assert_eq!(incision(&clinic), "at 180");
    clinic.list("list-b.csv", &["B-3101"], |line| line.replace(",180,", ",175,"));
    clinic.once().exits(0);
    assert_eq!((incision(&clinic).as_str(), clinic.case()["version"].as_u64()), ("at 175", Some(2)));
    clinic.list("list-a-again.csv", &["B-3101"], |line| line);
    clinic.once().exits(0);
    assert_eq!((incision(&clinic).as_str(), clinic.case()["version"].as_u64()), ("at 180", Some(3)));
    clinic.on(&["verify", &clinic.sheet().display().to_string()]).exits(0);
}
