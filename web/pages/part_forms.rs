//! Forms of a part and of what belongs to it.

use super::form::DATED;
use super::{Filled, Form, How, Sending};
use crate::paths;

const KINDS: [(&str, &str); 3] =
    [("card", "card in a rig"), ("processor", "processor on a platform"), ("device", "whole device")];

fn ask_part(form: Form) -> Form {
    form.line("maker", "Maker", "")
        .required()
        .line("model", "Model", "")
        .required()
        .ask("kind", "Kind", "", How::OneOf(KINDS.to_vec()))
        .ask(
            "rated_power_w",
            "Rated power limit, W",
            "The maker's; tunings past it show cautions",
            How::Whole,
        )
        .ask("memory_mib", "Memory, MiB", "Its own; 16 GiB is 16384", How::Whole)
}

/// The form for a new part with its first unit and driver.
pub fn new_part(filled: &Filled) -> Form {
    ask_part(Form::new("new-part", "part", paths::parts(), Sending::Add))
        .line("unit", "Unit in hand", "What the sample is called")
        .line("driver", "Driver", "Its name or number; passes need one")
        .ask("driver_dated", "Driver came out on", DATED, How::Day)
        .line("note", "Note", "")
        .filled(filled)
}

/// The form for the part itself.
pub fn edit_part(id: i64, version: i64, filled: &Filled) -> Form {
    ask_part(Form::new("part", "part", paths::part(id), Sending::Edit { version, back: None }))
        .line("note", "Note", "")
        .filled(filled)
}

/// The form for a unit.
pub fn unit(action: String, sending: Sending, filled: &Filled) -> Form {
    Form::new("unit", "unit", action, sending)
        .line("label", "Label", "What the sample is called")
        .required()
        .line("serial", "Serial number", "")
        .ask(
            "origin",
            "Came",
            "Lent ones are said in the pack",
            How::OneOf(vec![("bought", "bought"), ("lent", "lent")]),
        )
        .line("firmware", "Firmware switch", "Its position")
        .line("lender", "Lent by", "Stays out of packs unless asked for")
        .line("terms", "Terms", "When it goes back, what was asked of you")
        .ask(
            "embargo",
            "Embargo ends (UTC)",
            "No pack or link to an edition with it leaves before, but by an owner's word",
            How::Moment,
        )
        .filled(filled)
}

/// The form for a driver.
pub fn driver(action: String, sending: Sending, filled: &Filled) -> Form {
    Form::new("driver", "driver", action, sending)
        .line("name", "Name or number", "")
        .required()
        .ask("dated", "Came out on", DATED, How::Day)
        .required()
        .filled(filled)
}

/// The form for a price.
pub fn price(action: String, sending: Sending, filled: &Filled) -> Form {
    Form::new("price", "price", action, sending)
        .line("amount", "Amount", "Digits with a point, such as 1450.00; kept as written")
        .required()
        .line("currency", "Currency", "Three letters, such as EUR; never converted")
        .required()
        .ask(
            "kind",
            "Kind",
            "",
            How::OneOf(vec![("street", "street: what shops ask"), ("list", "list: the maker's")]),
        )
        .ask("dated", "Seen on", "", How::Day)
        .required()
        .line("country", "Country", "")
        .line("source", "Source", "Who says so")
        .filled(filled)
}

/// The form for a tuning. `caution`: its cautions are shown before it is saved, with a tick that they were read.
pub fn tuning(action: String, sending: Sending, filled: &Filled, caution: Option<String>) -> Form {
    let form = Form::new("tuning", "tuning", action, sending)
        .line("name", "Name", "Such as 'limit 300 W'")
        .required()
        .ask("power_limit_w", "Power limit, W", "Empty: the part's own", How::Whole)
        .ask("core_offset_mhz", "Core clock offset, MHz", "", How::Whole)
        .ask("memory_offset_mhz", "Memory clock offset, MHz", "", How::Whole)
        .ask("voltage_offset_mv", "Voltage offset, mV", "Below zero: less voltage", How::Whole);
    let form = match &caution {
        Some(_) => form.ask("cautions_read", "I have read this", "", How::Tick),
        None => form,
    };
    Form { caution, ..form.filled(filled) }
}
