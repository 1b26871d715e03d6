"""Sentences about what reaches the camera."""

SENTENCES: dict[str, str] = {
    "mount_amplifies": "At 1x ({once_hz:.0f} Hz) the mount makes vibration larger, {times:.1f} times: it "
    "isolates only above {from_hz:.0f} Hz.",
    "mount_amplifies_blade_pass": "At blade pass ({pass_hz:.0f} Hz) the mount makes vibration larger, "
    "{times:.1f} times.",
    "mount_near_gimbal": "The mount's natural frequency ({mount_hz:.0f} Hz) is near what a gimbal's control "
    "works at (usually up to about {band_hz:.0f} Hz; common practice): the two may sway together.",
    "mount_fits": "{mount_hz:.0f} Hz fits this hover speed: harder dampers let more through, and softer ones "
    "come too near to what a gimbal's control works at.",
    "softer_mount_helps": "Softer dampers would help: at {to_hz:.0f} Hz instead of {from_hz:.0f} Hz, "
    "{left_percent:.0f} % of the present 1x would reach the camera. They sag by about {sag_mm:.1f} mm; the "
    "damping ratio is taken to stay the same.",
    "harder_mount_helps": "Harder dampers would help: at {to_hz:.0f} Hz instead of {from_hz:.0f} Hz, "
    "{left_percent:.0f} % of the present 1x would reach the camera. They sag by about {sag_mm:.1f} mm; the "
    "damping ratio is taken to stay the same.",
    "arms_not_given": "No unbalance was given for the arms, so only the mount was judged.",
    "footage_not_modelled": "Not in this estimate: rotation of craft and camera, modes of arms and frame, "
    "the gimbal's motors and control, a rolling shutter. Take it as a guide to the order of size.",
}
