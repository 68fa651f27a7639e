//! What the lab finds.

use super::*;
use plinthside_exchange::{SecretKey, package};
use plinthside_ui::{Fill, Printing};
use plinthside_visit::order::OrderState;

/// 12 After posting the lab finds bag R, plaster L and order R: it rejects, the order is on hold,
/// the label is made void, the order amended and packed again, and the lab reads what changed.
#[test]
fn s12_the_lab_finds_another_side_in_the_bag() {
    let folder = tempfile::tempdir().expect("a folder");
    let window = demo_window(folder.path());
    let finger = Finger::new(&window);
    let data = window.app.global::<Data>();
    let key = SecretKey::generate();
    let public = key.public().expect("a key");
    window.inner.change(|s| {
        s.change_clinic(|clinic| clinic.labs[0].public_key = public);
    });
    let packed = |code: &str| {
        finger.tap("Hand over");
        finger.tap("Write papers and package");
        until(&window, "the package", |_| {
            data.get_hand_over().package.file.contains(code)
        });
        let file = data.get_hand_over().package.file;
        let bytes = std::fs::read(file.as_str()).expect("a package");
        package::open(&bytes, &key).expect("it opens for the lab")
    };
    let code = || visit(&window).casts[0].code.clone().expect("a label");
    finger.tap("Morwenna Ashdown, Left");
    finger.tap("Order");
    finger.tap("Sign as Ines Calloway");
    let first = packed(&code());
    assert_eq!(first.order.revision, 1);
    finger.tap("Follow up");
    finger.tap("It has left for the lab");
    finger.tap("Record it");

    finger.tap("The lab's answer");
    finger.tap("rejected");
    finger.tap("sides of plaster, bag and order differ");
    finger.tap("Record it");
    let order = |window: &Window| {
        let seen = visit(window);
        seen.orders.last().expect("an order").clone()
    };
    assert_eq!(order(&window).state(), OrderState::LabHold);
    let steps = data.get_steps();
    assert!(
        steps
            .iter()
            .any(|step| step.screen == Screen::FollowUp && step.fill != Fill::Empty)
    );

    // The label sat on another cast's bag: it is void, and this cast takes another.
    let old = code();
    finger.tap("Label");
    finger.tap("Make the label void");
    finger.tap("stuck on the wrong bag");
    finger.tap("Bind a new code");
    assert_ne!(code(), old);
    finger.tap("Prove the bag");
    let printing = window.app.global::<Printing>();
    printing.invoke_label_typed(old.as_str().into());
    let stop = printing.get_labelling().stop;
    assert!(stop.contains("void"), "{stop}");

    finger.tap("Order");
    finger.tap("Amend the order");
    finger.tap("the lab asked about it");
    finger.answer_blocks(&ORDER);
    finger.tap("Sign as Ines Calloway");
    assert_eq!(order(&window).newest().expect("signed").number, 2);
    let second = packed(&code());
    assert_eq!(second.order.revision, 2);
    assert_ne!(second.name, first.name);
    let paper = order_paper(&window);
    assert!(
        paper.contains(&code()) && paper.contains("the lab asked about it"),
        "{paper}"
    );
}
